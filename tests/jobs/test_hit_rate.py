"""Protects the hit rate: only what was said before the teardown counts, and the table's figures are the right ones."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.jobs import events as ev
from listen.jobs.fold import fold
from listen.jobs.hit_rate import ScoredCall, calls, csv_text, decided, hit_rates
from listen.jobs.job import Job, RoundRecord
from tests.jobs.made import opened, result


def job(*payloads: ev.Payload) -> Job:
    return fold(
        ev.Event(id=f"e{n}", time="2026-01-05T09:00:00Z", actor="", payload=p, line="")
        for n, p in enumerate([opened(), *payloads])
    )


OPEN = ev.RoundOpened(round_id="r", cylinder=2)


def ear(*paths: str, **more: object) -> ev.ByEarCalled:
    return ev.ByEarCalled(round_id="r", paths=paths, name="Ann", **more)  # type: ignore[arg-type]


def tool(path: str, kind: str = "path") -> ev.Judged:
    return ev.Judged(round_id="r", result=result(kind, path), clips=(), version="0.1.0")


def truth(*paths: str) -> ev.FindingRecorded:
    return ev.FindingRecorded(cylinder=2, paths=paths)


def test_ear_and_tool_are_scored_apart() -> None:
    """The ear was wrong, the tool right."""
    said = calls([job(OPEN, ear("rings", sure=0.6), tool("intake-valve"), truth("intake-valve"))])
    assert [(s.by, s.right, s.sure, s.name) for s in said] == [
        ("tool", True, 0.9, "0.1.0"),
        ("tech", False, 0.6, "Ann"),
    ]


def test_what_was_said_after_the_teardown_does_not_count() -> None:
    """A call or a verdict made knowing the truth is no hit; a corrected truth is the truth for what was said before."""
    late = job(OPEN, truth("rings"), ear("rings"), tool("rings"))
    assert calls([late]) == ()
    corrected = job(OPEN, ear("rings"), truth("intake-valve"), ear("intake-valve"), truth("rings"))
    (only,) = calls([corrected])
    assert only.right


@pytest.mark.parametrize(
    ("payloads", "count"),
    [
        ((OPEN, ear("rings")), 0),
        ((OPEN, ear(declined=True), truth("rings")), 0),
        ((OPEN, ear("rings", before_numbers=False), truth("rings")), 0),
        ((OPEN, tool("rings", "unclear"), truth("rings")), 0),
        ((OPEN, ear("intake-valve"), tool("set-up", "set-up"), truth("rings")), 0),
        ((OPEN, ear("rings"), tool("fitting", "fitting"), truth("rings")), 0),
        ((OPEN, ear("rings", role="supervisor"), truth("rings")), 1),
    ],
)
def test_what_is_no_call(payloads: tuple[ev.Payload, ...], count: int) -> None:
    """No truth, declined, after numbers, cannot tell, a test to be mended: none of them counts for or against."""
    assert len(calls([job(*payloads)])) == count


def test_two_at_work_and_sound() -> None:
    """Naming one of two is right, naming one that is not there is wrong, sound is right only where it is sound."""
    assert calls([job(OPEN, ear("rings"), truth("rings", "intake-valve"))])[0].right
    assert not calls([job(OPEN, ear("rings", "intake-valve"), truth("rings"))])[0].right
    assert calls([job(OPEN, ear("none"), truth("none"))])[0].right
    assert not calls([job(OPEN, ear("none"), truth("rings"))])[0].right


def said(sure: float | None, right: bool) -> ScoredCall:
    return ScoredCall(
        job=Job(),
        record=RoundRecord(id="r", cylinder=1),
        by="tool",
        name="",
        paths=("rings",),
        sure=sure,
        truth=("rings",) if right else ("none",),
    )


def test_said_ninety_percent_right_how_often() -> None:
    """Ten calls at 92 %, nine right; one at 100 %, wrong; one without a figure."""
    table = [said(0.92, n > 0) for n in range(10)] + [said(1.0, False), said(None, True)]
    (rate,) = hit_rates(table)
    assert (rate.rate.of, rate.rate.hits) == (12, 10)
    first, last = rate.classes
    assert (first.low, first.high, first.rate.of, first.rate.hits, first.rate.value) == (0.9, 0.95, 10, 9, 0.9)
    assert (first.rate.low95, first.rate.high95) == pytest.approx((0.555, 0.9975), abs=5e-4)
    assert first.mean_sure == pytest.approx(0.92)
    assert (last.low, last.rate.of, last.rate.hits) == (0.95, 1, 0)


@given(st.lists(st.tuples(st.none() | st.floats(0, 1), st.booleans()), min_size=1))
def test_every_stated_call_falls_in_one_class(stated: list[tuple[float | None, bool]]) -> None:
    """Classes neither lose nor double a call."""
    (rate,) = hit_rates([said(sure, right) for sure, right in stated])
    assert sum(c.rate.of for c in rate.classes) == sum(sure is not None for sure, _ in stated)


def test_csv_comes_back_and_tames_formulas() -> None:
    """A spreadsheet must not run what somebody typed as a name."""
    ear_call = ear("rings", sure=0.5)
    evil = job(OPEN, ev.JobNamed(title='=HYPERLINK("x")'), ear_call, truth("rings"))
    (row,) = list(csv.DictReader(io.StringIO(csv_text(calls([evil])))))
    assert row["title"] == '\'=HYPERLINK("x")'
    assert (row["said"], row["sure"], row["truth"], row["right"]) == ("rings", "0.500", "rings", "1")


def test_decisions_are_scored_against_teardowns_and_who_was_right_is_told() -> None:
    """Agreed and right; overruled rightly, wrongly, and both wrong; what came after the teardown does not count."""

    def one(n: int, program: str, decision: ev.Payload | None, truth: str) -> list[ev.Payload]:
        round_id = f"c{n}-aa"
        return [
            ev.RoundOpened(round_id=round_id, cylinder=n),
            ev.Judged(round_id=round_id, result=result(path=program), clips=()),
            *([decision] if decision else []),
            ev.FindingRecorded(cylinder=n, paths=(truth,)),
        ]

    def over(n: int, path: str) -> ev.Overruled:
        return ev.Overruled(round_id=f"c{n}-aa", name="Ida  Moor", paths=(path,), reason="heard it")

    agree = ev.Confirmed(round_id="c1-aa", name="Ida Moor", blind=False)
    said = [
        *one(1, "rings", agree, "rings"),
        *one(2, "rings", over(2, "intake-valve"), "intake-valve"),
        *one(3, "rings", over(3, "intake-valve"), "rings"),
        *one(4, "rings", over(4, "intake-valve"), "exhaust-valve"),
        ev.Overruled(round_id="c1-aa", name="Ida Moor", paths=("intake-valve",), reason="too late"),
    ]
    (score,) = decided([job(*said)])
    assert (score.name, score.agreed, score.agreed_right) == ("Ida Moor", 1, 1)
    assert (score.overruled, score.person_right, score.program_right) == (3, 1, 1)
