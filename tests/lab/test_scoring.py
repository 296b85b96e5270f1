"""Scores: a listener with known confusions is scored as such; confidence, intervals, weakest spots, next drill."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from listen.lab.training.answers import CALLABLE, Answer
from listen.lab.training.drills import DrillItem, DrillSet
from listen.lab.training.next_drill import INTERVALS_DAYS, choose
from listen.lab.training.scoring import score, weakest

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
CONFUSIONS: dict[str, dict[tuple[str, ...], float]] = {
    "intake-valve": {("intake-valve",): 0.9, ("exhaust-valve",): 0.1},
    "exhaust-valve": {("exhaust-valve",): 0.5, ("next-cylinder",): 0.4, (): 0.1},
    "none": {("none",): 0.7, ("rings",): 0.3},
}
SURE = 0.8


def answer(truth: tuple[str, ...], paths: tuple[str, ...], sure: float = SURE, **more: object) -> Answer:
    known = {"item": "01", "time": NOW.isoformat(), "seconds": 5.0, **more}
    return Answer(paths=paths, sure=sure if paths else 0.0, truth=truth, **known)  # type: ignore[arg-type]


def simulated_listener(rng: np.random.Generator, rounds: int) -> list[Answer]:
    """Someone who calls by the table above."""
    answers = []
    for _ in range(rounds):
        truth = str(rng.choice(list(CONFUSIONS)))
        calls = list(CONFUSIONS[truth])
        called = calls[int(rng.choice(len(calls), p=list(CONFUSIONS[truth].values())))]
        answers.append(answer((truth,), called, focus=(truth,)))
    return answers


def test_a_listener_with_known_confusions_is_scored_as_such() -> None:
    """Hit rates, confusions, false calls and calibration all come out as they were put in."""
    scored = score(simulated_listener(np.random.default_rng(1), 3000))
    for truth, calls in CONFUSIONS.items():
        row = scored.confusion[truth]
        total = sum(row.values())
        for called, share in calls.items():
            name = called[0] if called else "cannot-tell"
            assert row[name] / total == pytest.approx(share, abs=0.04), (truth, name)
        hit = scored.hit_rates[truth]
        assert hit.low95 <= calls[(truth,)] <= hit.high95
    assert scored.false_calls.value == pytest.approx(0.3, abs=0.04)
    assert scored.right.value == pytest.approx((0.9 + 0.5 + 0.7) / (1 + 0.9 + 1), abs=0.03)
    assert scored.overconfidence == pytest.approx(SURE - scored.right.value, abs=1e-9)
    assert weakest(scored)[0] in ("exhaust-valve",)


def test_brier_is_zero_for_the_knowing_and_a_quarter_for_the_shrugging() -> None:
    """Brier 1950."""
    knowing = [answer(("rings",), ("rings",), 1.0)] * 5 + [answer(("none",), ("rings",), 0.0)] * 5
    shrugging = [answer(("rings",), ("rings",), 0.5), answer(("none",), ("rings",), 0.5)]
    assert score(knowing).brier == 0.0
    assert score(shrugging).brier == 0.25


def test_calibration_sorts_answers_by_confidence() -> None:
    """Ten surely right and ten half-sure half-right fill two bins that lie on the diagonal."""
    answers = [answer(("rings",), ("rings",), 1.0)] * 10
    answers += [answer(("rings",), ("rings",), 0.5)] * 5 + [answer(("none",), ("rings",), 0.5)] * 5
    bins = score(answers).calibration
    assert [(b.mean_sure, b.rate.value, b.rate.of) for b in bins] == [(0.5, 0.5, 10), (1.0, 1.0, 10)]


def test_pairs_count_right_when_every_path_named_is_there() -> None:
    """Naming one of two is right; naming one that is not there is wrong; both rows of the table fill."""
    truth = ("intake-valve", "rings")
    scored = score(
        [answer(truth, ("rings",)), answer(truth, ("rings", "intake-valve")), answer(truth, ("rings", "fitting"))]
    )
    assert (scored.right.hits, scored.right.of) == (2, 3)
    assert (scored.hit_rates["rings"].hits, scored.hit_rates["intake-valve"].hits) == (3, 1)


def test_cannot_tell_is_neither_right_nor_wrong() -> None:
    """It costs coverage, not the hit rate of what was named."""
    scored = score([answer(("rings",), ()), answer(("rings",), ("rings",))])
    assert (scored.answered, scored.cannot_tell, scored.right.of) == (1, 1, 1)


def test_nothing_answered_is_no_score() -> None:
    """A new learner's page shows no made-up figures."""
    scored = score([])
    assert scored.brier is None and scored.overconfidence is None and scored.right.value is None


def drill(name: str, level: str, *focus: str) -> DrillSet:
    items = tuple(DrillItem(id=f"{n:02d}", focus=focus) for n in range(10))
    return DrillSet(id=name, title=name, level=level, items=items)


DRILLS = (
    drill("beginner", "beginner", "rings"),
    drill("intermediate", "intermediate", "rings"),
    drill("trap", "trap", "cross-talk"),
    drill("own", "own", "fitting"),
)


def sitting(
    name: str, level: str, share: float, days_ago: float, session: str = "s", path: str = "rings"
) -> list[Answer]:
    """Ten answers of which a share is right."""
    time = (NOW - timedelta(days=days_ago)).isoformat()
    calls = [(path,) if n < 10 * share else ("fitting" if path != "fitting" else "rings",) for n in range(10)]
    return [
        answer((path,), called, drill=name, level=level, session=session, time=time, focus=(path,)) for called in calls
    ]


def test_a_newcomer_begins_at_the_beginning() -> None:
    """And the next level opens only once the one below was done well."""
    assert choose(DRILLS, [], NOW).drill == DRILLS[0]
    poor = sitting("beginner", "beginner", 0.5, 0.0)
    assert choose(DRILLS, poor, NOW).drill == DRILLS[0], "at once again"
    good = sitting("beginner", "beginner", 0.9, 0.0)
    assert choose(DRILLS, good, NOW).drill == DRILLS[1]


def test_drills_done_well_come_back_at_growing_intervals() -> None:
    """One, three, seven days...; done badly, at once."""
    answers = sitting("beginner", "beginner", 0.9, 20, "a") + sitting(
        "beginner", "beginner", 0.9, INTERVALS_DAYS[2] - 1, "b"
    )
    one = (DRILLS[0],)
    assert choose(one, answers, NOW).drill is None
    assert choose(one, answers, NOW + timedelta(days=1.01)).drill == DRILLS[0]
    answers += sitting("beginner", "beginner", 0.3, 0, "c")
    assert choose(one, answers, NOW).drill == DRILLS[0]


def test_a_sitting_left_half_way_is_neither_passed_nor_forgotten() -> None:
    """One lucky first answer must not open the next level; the rest is still to be done."""
    begun = sitting("beginner", "beginner", 1.0, 0.0)[:1]
    suggestion = choose(DRILLS, begun, NOW)
    assert suggestion.drill == DRILLS[0] and "not finished" in suggestion.why


def test_of_those_due_the_one_at_the_weakest_spot_comes_first() -> None:
    """Someone fooled by fittings meets fittings."""
    answers = sitting("beginner", "beginner", 1.0, 50, "a") + sitting("own", "own", 0.2, 30, "b", path="fitting")
    suggestion = choose((DRILLS[0], DRILLS[3]), answers, NOW)
    assert suggestion.drill == DRILLS[3] and "fitting" in suggestion.why


def test_the_strong_get_fainter_drills() -> None:
    """Nothing due: a drill is to be made, fainter the better someone is, at the weakest paths."""
    wishes = {}
    for share in (0.8, 1.0):
        answers = [a for d in DRILLS for a in sitting(d.id, d.level, share, 0.0, d.id)]
        suggestion = choose(DRILLS, answers, NOW)
        assert suggestion.drill is None and suggestion.make is not None
        wishes[share] = suggestion.make
    assert wishes[1.0].hiss_db[0] < wishes[0.8].hiss_db[0]
    assert set(CALLABLE) >= {p for paths in wishes[0.8].paths for p in paths}


def test_a_suggested_drill_can_be_made(tmp_path: Path) -> None:
    """The wish is one that the maker takes."""
    from listen.lab.training.make_drill import draw_rounds

    answers = [a for d in DRILLS for a in sitting(d.id, d.level, 1.0, 0.0, d.id)]
    wish = choose(DRILLS, answers, NOW).make
    assert wish is not None and len(draw_rounds(wish)) == wish.rounds
