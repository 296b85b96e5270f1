"""Protects before and after: a change is told only where it is beyond what both tests leave open."""

from __future__ import annotations

import msgspec
import pytest

from listen.jobs import events as ev
from listen.jobs.before_after import Change, Comparison, compare
from listen.jobs.fold import fold
from listen.jobs.job import Job
from listen.judge.result import BubbleRates, PointResult
from listen.trade.engine import layout
from tests.jobs.made import opened, result


def point(level: float | None, *, bound: bool = False, excess: float = 6.0, half: float = 0.5) -> PointResult:
    return PointResult(
        point="intake",
        excess_db=excess,
        excess_ci95_db=(excess - half, excess + half),
        level_db=level,
        level_is_upper_bound=bound,
        level_unit="dBFS",
        detected=not bound,
        detection_limit_db=0.3,
        drift_db=0.2,
        bubbles_per_s=BubbleRates(quiet=0, air=0),
    )


def clip(device: str) -> ev.ClipKept:
    return ev.ClipKept(
        clip="a",
        round_id="r",
        point="intake",
        clip_kind="air",
        walk="air",
        take=1,
        sha256="",
        seconds=4,
        rate_hz=48000,
        device=device,
    )


def job(
    *readings: tuple[str, float],
    at: PointResult | None = None,
    device: str = "mic",
    kind: str = "path",
    job_id: str = "a",
) -> Job:
    payloads: list[ev.Payload] = [msgspec.structs.replace(opened(), job=job_id)]
    payloads.append(ev.RoundOpened(round_id="r", cylinder=1))
    payloads += [
        ev.ReadingEntered(reading=name, value=v, unit="x", si=v, cylinder=None if name in ("restrictor",) else 1)
        for name, v in readings
    ]
    if at is not None:
        judged = msgspec.structs.replace(result(kind), points=(at,))
        payloads += [clip(device), ev.Judged(round_id="r", result=judged, clips=("a",))]
    return fold(ev.Event(id=f"e{n}", time="t", actor="", payload=p, line="") for n, p in enumerate(payloads))


def only(found: Comparison, what: str) -> Change:
    (change,) = [c for row in found.cylinders for c in row.changes if c.what == what]
    return change


@pytest.mark.parametrize(
    ("before", "after", "beyond"), [(30, 26, False), (30, 24.5, True), (10, 16, True), (10, 10, False)]
)
def test_loss_changes_beyond_five_points(before: float, after: float, beyond: bool) -> None:
    """Repeats agree within five points; only more is a change."""
    change = only(compare(job(("loss", before)), job(("loss", after), job_id="b")), "loss")
    assert change.beyond is beyond
    assert change.difference == after - before


def test_compression_changes_beyond_what_gauges_repeat() -> None:
    """60 kPa of 1000 is nothing, 200 is a change."""
    small = only(compare(job(("compression-dry", 1000)), job(("compression-dry", 1060))), "compression-dry")
    large = only(compare(job(("compression-dry", 900)), job(("compression-dry", 1100))), "compression-dry")
    assert not small.beyond
    assert large.beyond
    assert small.uncertainty == pytest.approx(72.8, abs=0.1)


def test_another_restrictor_forbids_comparing_percents() -> None:
    """Like with like only, and it is said."""
    found = compare(job(("restrictor", 1.0), ("loss", 40)), job(("restrictor", 1.5), ("loss", 8)))
    change = only(found, "loss")
    assert change.difference is None
    assert not change.beyond
    assert "another restrictor" in change.remark
    assert "restrictor" in found.remarks[-1]


def test_one_bore_drilled_in_two_units_is_one_restrictor() -> None:
    """0.040 in is 1.016 mm, the trade's "1.0 mm": apart only beyond what is told as another set-up."""
    found = compare(job(("restrictor", 1.0), ("loss", 40)), job(("restrictor", 1.016), ("loss", 8)))
    change = only(found, "loss")
    assert (change.difference, change.remark, found.remarks[1:]) == (-32, "", ())
    assert change.beyond


def test_levels_are_compared_with_the_same_microphone_and_excess_with_another() -> None:
    """A level of the same input says how loud the hiss is; else the excess, with a warning."""
    same = compare(job(at=point(-50)), job(at=point(-62)))
    assert only(same, "hiss-level").beyond
    near = compare(job(at=point(-50)), job(at=point(-54)))
    assert not only(near, "hiss-level").beyond, "within what holding the microphone differently does"
    other = compare(job(at=point(-50)), job(at=point(-62), device="other"))
    assert "with care" in only(other, "excess").remark


def test_a_hiss_that_is_gone_is_told_only_where_it_would_have_been_heard() -> None:
    """After: not heard, at most this loud. Beyond only if that bound is clearly below what was heard before."""
    gone = only(compare(job(at=point(-50)), job(at=point(-70, bound=True), kind="sound")), "hiss-level")
    assert gone.beyond
    assert "at most" in gone.remark
    masked = only(compare(job(at=point(-50)), job(at=point(-40, bound=True))), "hiss-level")
    assert not masked.beyond, "a louder shop hides it: nothing can be said"
    never = only(compare(job(at=point(-70, bound=True)), job(at=point(-50, bound=True))), "hiss-level")
    assert not never.beyond


def test_one_sided_and_empty_jobs() -> None:
    """A figure on one side only is shown, not judged; jobs with nothing give an empty comparison."""
    change = only(compare(job(("loss", 30)), job()), "loss")
    assert (change.before, change.after, change.beyond) == (30, None, False)
    one = only(compare(job(at=point(-50)), job()), "excess")
    assert (one.before, one.after) == (6.0, None)
    assert compare(fold([]), fold([])).cylinders == ()


def test_another_engine_or_the_same_job_is_said() -> None:
    """Nothing is compared in silence."""
    v6 = fold(
        [ev.Event(id="e", time="", actor="", payload=ev.JobOpened(job="z", title="t", engine=layout("v6")), line="")]
    )
    assert any("two engines" in r for r in compare(job(), v6).remarks)
    assert any("same job" in r for r in compare(job(), job()).remarks)
