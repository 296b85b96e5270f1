"""What to train next: levels that follow the learner, advice that follows from where they lose, for weeks."""

from __future__ import annotations

from itertools import pairwise

import pytest

from listen.lab.training.book import Answer
from listen.lab.training.drills import DrillSet
from listen.lab.training.next_drill import ALL, FIRST, MORE, RECENT, STAGES, choose, pool_of, profile
from listen.lab.training.scoring import CEILING_DB, START_DB, floor_db, level_db
from listen.lab.training.session import PRACTICE
from tests.lab.pupils import PUPILS, Weeks, train
from tests.lab.test_scoring import answer

SETS = tuple(
    DrillSet(id=level, title=level, level=level, rounds=5) for level in ("beginner", "intermediate", "trap", "own")
)
SEEDS = range(4)


def fresh(truth: str, called: str, level: float = 12.0) -> Answer:
    """One answer to a fresh round; an empty call is "cannot tell"."""
    paths = (called,) if called else ()
    return answer((truth,), paths, drill=PRACTICE, trains=truth, level_db=level)


def test_a_staircase_goes_down_fast_until_the_first_miss_and_slowly_after_it() -> None:
    """12, 9, 6, then a miss up to 9, then 8, 7: never from +3 to -12 at once."""
    levels, answers = [], []
    for called in ("rings", "rings", "none", "rings", "rings"):
        levels.append(level_db("rings", answers))
        answers.append(fresh("rings", called))
    assert [*levels, level_db("rings", answers)] == [12.0, 9.0, 6.0, 9.0, 8.0, 7.0]
    assert level_db("intake-valve", answers) == START_DB, "every path has its own"
    assert level_db("rings", [fresh("rings", "")] * 9) == CEILING_DB, "cannot tell makes it plainer"
    for path in ALL:
        truth = ("intake-valve", "rings") if path == "two leaks" else (path,)
        right = [answer(truth, truth, trains=path)] * 60
        assert level_db(path, right) == floor_db(path)


def test_half_of_a_pair_is_not_found() -> None:
    """The score calls it right; the staircase stays where both are heard."""
    half = answer(("intake-valve", "rings"), ("rings",), trains="two leaks")
    assert half.right and level_db("two leaks", [half]) == CEILING_DB


def test_a_newcomer_begins_with_what_is_plain_and_stages_open_by_being_right() -> None:
    """Four truths; sixteen of them, seven of ten right, open six; then all nine, pairs too."""
    assert choose(SETS, []).pool == FIRST
    some = [fresh(FIRST[n % 4], FIRST[n % 4]) for n in range(16)]
    assert profile(some[:15]).stage == 0 and profile(some).stage == 1
    more = [fresh(MORE[n % 6], MORE[n % 6]) for n in range(16)]
    assert choose((), some + more).pool == STAGES[2] == ALL
    poor = [fresh(FIRST[n % 4], FIRST[n % 4] if n % 2 else "fitting") for n in range(16)]
    assert profile(poor).stage == 0


def test_a_kept_set_is_a_test_met_once_when_one_is_ready() -> None:
    """Not before the stage it belongs to, not twice, and what was begun is finished first."""
    some = [fresh(MORE[n % 6], MORE[n % 6], 6.0) for n in range(RECENT)]
    assert choose(SETS, some[:10]).drill is None
    assert choose(SETS, some).drill == SETS[0]
    done = [answer(("rings",), ("rings",), drill="beginner")] * 5
    assert choose(SETS, some + done).drill is None, "training in between"
    assert choose(SETS, some + done + some).drill == SETS[1]
    assert choose(SETS, some, ["own"]).drill == SETS[3]


def test_where_someone_loses_is_what_comes_twice_as_often() -> None:
    """Exhaust taken for the neighbour's hole: both are offered, and sound; the learner is told why."""
    answers = [fresh(MORE[n % 6], MORE[n % 6], 6.0) for n in range(30)]
    answers += [fresh("exhaust-valve", "next-cylinder", 9.0)] * 5
    how = profile(answers)
    assert how.kind == "misses" and how.weak == "exhaust-valve" and how.taken_for == "next-cylinder"
    assert "exhaust valve, right in 5 of 10" in how.why
    pool = pool_of(how)
    assert "exhaust valve (twice as often)" in choose((), answers).title
    assert pool.count("exhaust-valve") == 2 and {"next-cylinder", "none"} <= set(pool)


def test_who_names_nothing_is_asked_to_call() -> None:
    """Half of the plain rounds left uncalled."""
    answers = [fresh(FIRST[n % 4], "" if n % 2 else FIRST[n % 4]) for n in range(20)]
    assert profile(answers).kind == "shy"


@pytest.fixture(scope="module")
def weeks() -> dict[str, list[Weeks]]:
    """Four learners, four times 28 days of twelve rounds."""
    return {name: [train(ear, seed) for seed in SEEDS] for name, ear in PUPILS.items()}


def share(many: list[Weeks], kind: str, since: int = 4) -> float:
    told = [k for w in many for k, n in w.kinds(since).items() for _ in range(n)]
    return told.count(kind) / len(told)


def test_over_28_days_each_of_four_learners_gets_what_they_need(weeks: dict[str, list[Weeks]]) -> None:
    """The knowing all paths at the faintest, the guessing two plain ones, the over-calling sound cylinders."""
    assert share(weeks["knows"], "strong") > 0.8
    assert share(weeks["guesses"], "guesses") > 0.9 and share(weeks["guesses"], "over-calls") < 0.05
    assert share(weeks["over-calls"], "over-calls") > 0.9 and share(weeks["over-calls"], "guesses") == 0.0
    assert share(weeks["improves"], "guesses") < 0.05
    for w in weeks["knows"]:
        assert w.intake_db[-1] == -12.0 and set(w.pools[-1]) == set(ALL)
    for w in weeks["guesses"]:
        assert w.intake_db[-1] > 11.0 and len(set(w.pools[-1])) == 3
    for w in weeks["over-calls"]:
        assert w.pools[-1].count("none") == 2


def test_who_improves_gets_fainter_rounds_and_more_paths_week_by_week(weeks: dict[str, list[Weeks]]) -> None:
    """The ear goes from +9 to -6 dB in 28 days, and the level after it, by no step above 3 dB."""
    for w in weeks["improves"]:
        assert w.intake_db[0] > w.intake_db[13] > w.intake_db[27] and w.intake_db[27] < 2.0
        assert len(set(w.pools[0])) < len({t for pool in w.pools[20:] for t in pool})
    for w in (w for many in weeks.values() for w in many):
        for path in ALL:
            levels = [a.level_db or 0.0 for a in w.answers if a.trains == path]
            assert all(abs(b - a) <= 3.0 for a, b in pairwise(levels))
