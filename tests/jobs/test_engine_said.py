"""Which rounds of a job tell another of its engine: fresh, through the same input, of other cylinders, in no order."""

from itertools import permutations

import msgspec
import pytest

from listen.jobs import events as ev
from listen.jobs.fold import fold
from listen.jobs.job import Job
from listen.jobs.reference import DECLINED, engine_said, told_since
from listen.judge.result import Blown, EngineSay
from tests.jobs.made import opened, result


def clip(n: int, kind: str, *, device: str = "bench microphone", gain_db: float | None = None) -> ev.ClipKept:
    return ev.ClipKept(
        clip=f"{kind}{n:04d}", round_id=f"r{n}", point="oil-filler", clip_kind=kind, walk=kind, take=1,
        sha256="0" * 64, seconds=1.0, rate_hz=48000, device=device, gain_db=gain_db,
    )  # fmt: skip


def say(n: int) -> EngineSay:
    return EngineSay(cylinder=n, zero_dbfs=-50.0, points=(Blown(point="oil-filler", clean=0.9, nats=(0.0, -1.0)),))


def judged(n: int, kind: str = "unclear") -> ev.Judged:
    said = msgspec.structs.replace(result(kind), engine=say(n))
    return ev.Judged(round_id=f"r{n}", result=said, clips=(f"quiet{n:04d}", f"air{n:04d}"))


def round_of(n: int, **clips: object) -> tuple[ev.Payload, ...]:
    opens = ev.RoundOpened(round_id=f"r{n}", cylinder=n)
    return (opens, clip(n, "quiet", **clips), clip(n, "air", **clips))  # type: ignore[arg-type]


def job(*payloads: ev.Payload) -> Job:
    events = enumerate([opened(), *payloads])
    return fold(ev.Event(id=f"e{n}", time="2026-01-05T09:00:00Z", actor="", payload=p, line="") for n, p in events)


def told(found: Job, round_id: str = "r4") -> list[int]:
    return [one.cylinder for one in engine_said(found, round_id)]


def test_whatever_the_order_of_judging_the_same_is_told() -> None:
    rounds = [p for n in (1, 2, 3, 4) for p in round_of(n)]
    heard = {engine_said(job(*rounds, *map(judged, order)), "r4") for order in permutations((1, 2, 3))}
    assert heard == {(say(1), say(2), say(3))}


def test_a_round_hears_neither_itself_nor_its_own_cylinder() -> None:
    again = ev.RoundOpened(round_id="r9", cylinder=4)
    assert told(job(*round_of(1), *round_of(4), judged(1), judged(4)), "r4") == [1]
    assert told(job(*round_of(1), *round_of(4), judged(1), judged(4), again), "r9") == []  # no input known yet


@pytest.mark.parametrize(
    "after",
    [
        ev.ClipTakenBack(clip="air0001"),
        ev.RoundSetAside(round_id="r1", aside=True, reason="another engine"),
        ev.BubblesLooked(round_id="r1", seen="yes"),
        ev.StepPassed(round_id="r4", step=DECLINED, reason="the pistons were changed"),
    ],
    ids=["clip taken back", "set aside", "readings changed", "other cylinders declined"],
)
def test_a_round_that_counts_no_more_tells_nothing(after: ev.Payload) -> None:
    whole = (*round_of(1), *round_of(4), judged(1))
    assert told(job(*whole)) == [1]
    assert told(job(*whole, after)) == []


@pytest.mark.parametrize("other", [{"device": "a telephone"}, {"gain_db": 12.0}])
def test_another_input_or_gain_tells_nothing(other: dict[str, object]) -> None:
    """Levels are compared as one microphone at one gain hears them."""
    assert told(job(*round_of(1, **other), *round_of(4), judged(1))) == []


def test_what_was_told_since_is_known() -> None:
    """The first cylinder was judged when nobody else was; judged again with both others it waits for nobody."""
    rounds = [p for n in (1, 2, 4) for p in round_of(n)]
    first = job(*rounds, judged(4), judged(1), judged(2))
    assert told_since(first, "r4") == (1, 2)
    again = msgspec.structs.replace(judged(4).result, told_by=(1, 2))
    assert told_since(job(*rounds, judged(1), judged(2), msgspec.structs.replace(judged(4), result=again)), "r4") == ()
    assert told_since(job(*rounds), "r4") == ()


def test_a_cylinder_whose_clips_stand_beside_the_round_is_not_counted_twice() -> None:
    """Judged sound, cylinder 1 is the sound cylinder of the round: its clips say more than its word."""
    found = job(*round_of(1), *round_of(2), *round_of(4), judged(1, "sound"), judged(2))
    assert told(found) == [2]


def test_the_latest_round_of_a_cylinder_speaks_for_it() -> None:
    later = (ev.RoundOpened(round_id="r11", cylinder=1), clip(11, "quiet"), clip(11, "air"))
    newer = msgspec.structs.replace(judged(11), result=msgspec.structs.replace(result("unclear"), engine=say(77)))
    assert told(job(*round_of(1), *round_of(4), judged(1), *later, newer)) == [77]
