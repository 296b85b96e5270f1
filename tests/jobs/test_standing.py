"""Protects what stands for a round: a person's word above the program's, each beside the other; blind if it was."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec
import pytest

from listen.jobs import events as ev
from listen.jobs.decision import Heard
from listen.jobs.fold import fold
from listen.jobs.folder.chain import read_chain
from listen.jobs.folder.journal import GENESIS, Line, write_line
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import Standing, kind_of_paths, latest_round, standing, standing_of
from tests.jobs.made import opened, result

R = "c1-aa"


def clip(n: int, point: str = "intake", kind: str = "air", walk: str = "air") -> ev.ClipKept:
    return ev.ClipKept(
        clip=f"clip{n}",
        round_id=R,
        point=point,
        clip_kind=kind,
        walk=walk,
        take=1,
        sha256="0" * 64,
        seconds=1.0,
        rate_hz=48000,
    )


def judged(path: str = "intake-valve", kind: str = "path", clips: tuple[str, ...] = ("clip0", "clip1")) -> ev.Judged:
    return ev.Judged(round_id=R, result=result(kind, path), clips=clips, version="9.9")


def chained(payloads: Iterable[tuple[str, ev.Payload]], after: tuple[Line, ...] = (), at: int = 0) -> tuple[Line, ...]:
    """Lines by (actor, payload), a minute apart from minute ``at`` on."""
    lines = list(after)
    for n, (actor, payload) in enumerate(payloads, at):
        prev = lines[-1].hash if lines else GENESIS
        time = f"2026-01-05T{9 + n // 60:02}:{n % 60:02}:00.000Z"
        lines.append(write_line(payload, prev=prev, actor=actor, time=time, id=f"{actor}{n}{type(payload).__name__}"))
    return tuple(lines)


BASE = (
    ("Ann", opened()),
    ("Ann", ev.RoundOpened(round_id=R, cylinder=1)),
    ("Ann", clip(0, kind="quiet", walk="quiet")),
    ("Ann", clip(1)),
    ("Ann", judged()),
)


def after(*said: ev.Payload, who: str = "Bo") -> RoundRecord:
    """The round after the base and these."""
    return told(chained((*BASE, *((who, p) for p in said)))).round(R)


def heard(*said: ev.Payload) -> Heard:
    """How the last decision was heard."""
    decision = after(*said).decision
    assert decision is not None
    return decision.heard


def told(lines: tuple[Line, ...]) -> Job:
    chain = read_chain(b"".join(line.raw + b"\n" for line in lines))
    assert not chain.broken
    return fold(chain.events())


def test_the_programs_verdict_stands_until_a_person_decides() -> None:
    s = standing(after())
    assert (s.by, s.kind, s.paths, s.probability, s.waits) == ("program", "path", ("intake-valve",), 0.9, True)


def test_an_overruling_stands_above_with_what_the_program_said_then_beside_it() -> None:
    """The person's paths, no probability."""
    s = standing(after(ev.Overruled(round_id=R, name="Bo", paths=("rings",), reason="oil smoke")))
    assert (s.by, s.how, s.kind, s.paths, s.probability) == ("person", "overruled", "path", ("rings",), None)
    assert (s.name, s.waits) == ("Bo", False)
    assert s.program_then is not None and s.program_then.paths == ("intake-valve",)


def test_an_agreement_stands_with_the_verdict_it_was_given_to() -> None:
    """Judged again afterwards with another outcome, what was agreed to stands."""
    s = standing(after(ev.Confirmed(round_id=R, name="Bo"), judged("rings")))
    assert (s.by, s.how, s.paths) == ("person", "agreed", ("intake-valve",))


def test_sent_back_leaves_the_verdict_and_waits_again_once_the_clip_came() -> None:
    back = ev.SentBack(round_id=R, name="Bo", point="tailpipe", clip_kind="air", reason="faint")
    s = standing(after(back))
    assert (s.by, s.how, s.paths, s.request_met, s.waits) == ("program", "sent-back", ("intake-valve",), False, False)
    come = (back, clip(2, "tailpipe"), judged(clips=("clip0", "clip1", "clip2")))
    assert (standing(after(*come)).request_met, standing(after(*come)).waits) == (True, True)
    assert not standing(after(back, clip(2, "tailpipe"))).waits, "not before it is judged again"


def test_nothing_judged_nothing_stands() -> None:
    job = told(chained(BASE[:4]))
    assert standing_of(job, 1) == Standing(round_id=R, cylinder=1, by="nobody")
    assert standing_of(job, 2) is None
    assert latest_round(job, 1) is job.rounds[0]


@pytest.mark.parametrize(
    ("paths", "kind"),
    [
        (("none",), "sound"),
        (("rings",), "path"),
        (("rings", "intake-valve"), "several"),
        (("fitting",), "fitting"),
        (("set-up",), "set-up"),
        ((), "unclear"),
    ],
)
def test_the_kind_follows_from_the_paths(paths: tuple[str, ...], kind: str) -> None:
    assert kind_of_paths(paths) == kind


# ---------------------------------------------------------------------- how it was heard

SAT = ev.SatDown(sitting="s1", name="Bo", role="supervisor")
PLAYED = ev.PairPlayed(sitting="s1", name="Bo", round_id=R, point="intake", clips=("clip1", "clip0"))
CALL = ev.ByEarCalled(round_id=R, paths=("rings",), role="supervisor", name="Bo", sitting="s1")
SHOWN = ev.NumbersShown(sitting="s1", name="Bo", rounds=(R,), screen="engine")
AGREED = ev.Confirmed(round_id=R, name="Bo", blind=True, sitting="s1")


@pytest.mark.parametrize(
    ("before", "blind"),
    [
        ((SAT, PLAYED, CALL, SHOWN), True),
        ((SAT, SHOWN, PLAYED, CALL), False),
        ((SAT, CALL, PLAYED), False),
        ((SAT, CALL), False),
        ((SAT, PLAYED), False),
        ((SAT, PLAYED, msgspec.structs.replace(CALL, paths=(), declined=True)), False),
        ((msgspec.structs.replace(SHOWN, sitting="s0"), SAT, PLAYED, CALL), False),
        ((msgspec.structs.replace(SHOWN, sitting="s0", name="Cy"), SAT, PLAYED, CALL), True),
        ((SAT, PLAYED, msgspec.structs.replace(CALL, name="Cy")), False),
        ((SAT, PLAYED, msgspec.structs.replace(CALL, before_numbers=False)), False),
        ((SAT, msgspec.structs.replace(PLAYED, clips=("clip1", "clip9")), CALL), False),
        ((SAT, msgspec.structs.replace(PLAYED, clips=()), CALL), False),
        ((SAT, PLAYED, CALL, clip(2)), False),
        ((SAT, PLAYED, clip(2), CALL), False),
        ((SAT, clip(2), msgspec.structs.replace(PLAYED, clips=("clip0", "clip2")), CALL), True),
        ((SAT, PLAYED, CALL, clip(2, "tailpipe")), False),
        ((SAT, clip(2, kind="switched", walk="switched"), PLAYED, CALL), False),
        (
            (SAT, clip(2, kind="switched", walk="switched"), msgspec.structs.replace(PLAYED, clips=("clip2",)), CALL),
            True,
        ),
    ],
)
def test_blind_follows_from_what_was_shown_and_played(before: tuple[ev.Payload, ...], blind: bool) -> None:
    """Whatever the decision itself claims; heard is what is there to be heard now, not what a later clip replaced."""
    assert heard(*before, AGREED).blind is blind


def test_a_second_decision_after_numbers_were_seen_is_not_blind() -> None:
    """After a send-back the old call and the old sitting do not make the new decision blind."""
    again = msgspec.structs.replace(AGREED, sitting="s2")
    how = heard(SAT, PLAYED, CALL, SHOWN, ev.SatDown(sitting="s2", name="bo ", role="supervisor"), again)
    assert how.recorded and not how.blind and how.pairs == ()


def test_a_decision_by_an_earlier_version_says_that_nothing_was_recorded() -> None:
    how = heard(ev.Confirmed(round_id=R, name="Bo", blind=True))
    assert not how.recorded and not how.blind


@pytest.mark.parametrize(("name", "own"), [("ann", True), ("Bo", False)])
def test_whoever_recorded_the_round_and_decides_is_told_so(name: str, own: bool) -> None:
    assert standing(after(ev.Confirmed(round_id=R, name=name), who=name)).own_work is own


# ---------------------------------------------------------------------- two machines


def merge(ours: tuple[Line, ...], theirs: tuple[Line, ...], shared: int) -> tuple[Line, ...]:
    rest = tuple(msgspec.Raw(line.raw) for line in theirs[shared:])
    merged = ev.Merged(fork=ours[shared - 1].hash, lines=rest, source="post")
    return (*ours, write_line(merged, prev=ours[-1].hash, actor="hissway", time="2026-01-06T00:00:00.000Z", id="m"))


def signed(lines: tuple[Line, ...], name: str, key: str = "") -> tuple[Line, ...]:
    payload = ev.Signed(
        round_id=R, name=name, role="supervisor", statement="", head=lines[-1].hash, public_key=key, signature=key
    )
    return chained([(name, payload)], lines, at=30)


def test_a_signed_decision_counts_before_a_later_unsigned_one_and_both_are_shown() -> None:
    """Whichever machine merges, the same stands; the other is shown until a person decides who has seen both."""
    base = chained(BASE)
    here = signed(chained([("Bo", ev.Confirmed(round_id=R, name="Bo"))], base, at=10), "Bo", key="ab")
    there = chained([("Cy", ev.Overruled(round_id=R, name="Cy", paths=("rings",), reason="x"))], base, at=50)
    one, other = told(merge(here, there, len(base))), told(merge(there, here, len(base)))
    for job in (one, other):
        s = standing(job.round(R))
        assert (s.name, s.how, s.disputed, s.waits) == ("Bo", "agreed", True, True)
        assert [d.payload.name for d in job.round(R).open_decisions] == ["Cy", "Bo"]
        assert any("not seen by Bo: overruled, by Cy" in c for c in s.changed)
    assert one.rounds == other.rounds
    settled = chained([("Di", ev.Confirmed(round_id=R, name="Di"))], merge(here, there, len(base)), at=90)
    s = standing(told(settled).round(R))
    assert (s.name, s.disputed, s.waits) == ("Di", False, False)


def test_of_two_alike_the_later_counts() -> None:
    base = chained(BASE)
    here = chained([("Bo", ev.Overruled(round_id=R, name="Bo", paths=("rings",), reason="x"))], base, at=20)
    there = chained([("Cy", ev.Overruled(round_id=R, name="Cy", paths=("none",), reason="x"))], base, at=10)
    for lines in (merge(here, there, len(base)), merge(there, here, len(base))):
        assert standing(told(lines).round(R)).name == "Bo"


def test_two_who_agree_do_not_dispute() -> None:
    base = chained(BASE)
    here = chained([("Bo", ev.Confirmed(round_id=R, name="Bo"))], base, at=10)
    there = chained([("Cy", ev.Overruled(round_id=R, name="Cy", paths=("intake-valve",), reason="x"))], base, at=20)
    assert not standing(told(merge(here, there, len(base))).round(R)).disputed


@pytest.mark.parametrize("fork", [GENESIS, "0" * 64])
def test_a_merge_from_the_very_start_or_from_nowhere_breaks_the_chain_there(fork: str) -> None:
    """It would open the job a second time; the lines before it can still be read."""
    base = chained(BASE)
    merged = ev.Merged(fork=fork, lines=(msgspec.Raw(base[0].raw),), source="post")
    line = write_line(merged, prev=base[-1].hash, actor="x")
    chain = read_chain(b"".join(one.raw + b"\n" for one in (*base, line)))
    assert "fork from a line that is not in this journal" in chain.broken
    assert len(chain.lines) == len(base)
    assert standing(fold(chain.events()).round(R)).by == "program"
