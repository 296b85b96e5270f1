"""What a learner's answers come to: hit rates, confusions, calibration of confidence, and where they are fooled;
and how plain the next round of a path is made: a staircase a path.

Staircases take weighted steps (Kaernbach 1991): down by ``DOWN_DB`` after a right call, up by three times that after
any other, which settles where three of four are right. Until the first miss they go down in larger steps, ``FAST_DB``.
"""

from collections import Counter
from collections.abc import Iterable, Sequence

import msgspec

from listen.lab.training.book import CALLABLE, Answer
from listen.rate import Bin, Rate, brier, calibration, counted

CANNOT_TELL = "cannot-tell"
CONFIDENCE_BINS = (0.0, 0.5, 0.7, 0.85, 0.95, 1.0)
"""Edges of the calibration table; nobody states confidence finer than this."""
LEAST_MET = 3
"""Rounds of one sort after which a share says something of the learner."""
WEAK_BELOW = 0.8
"""Share right from which a sort of round no longer counts as weak; a choice, no measurement."""


class Score(msgspec.Struct, frozen=True, kw_only=True):
    total: int
    answered: int
    """Those that named something."""
    cannot_tell: int
    right: Rate
    """Of answered: every path named was there."""
    hit_rates: dict[str, Rate]
    """By path truly there: how often it was named."""
    false_calls: Rate
    """Of sound cylinders: how often a leak was named."""
    confusion: dict[str, dict[str, int]]
    """Truth (a pair counts in both rows) against what was called, ``cannot-tell`` included."""
    brier: float | None
    overconfidence: float | None
    """Mean confidence less share right: above zero, surer than right."""
    calibration: tuple[Bin, ...]
    with_readings: Rate
    """Of those named in the end: right once loss and bubbles were told."""
    focus: dict[str, Rate]
    """By what a round trains (cross-talk, ...): share right, "cannot tell" counted as not right."""


def _confusion(answers: Sequence[Answer]) -> dict[str, dict[str, int]]:
    met = Counter((t, c) for a in answers for t in a.truth for c in a.paths or (CANNOT_TELL,))
    rows = {t: {c: met[t, c] for c in (*CALLABLE, CANNOT_TELL) if (t, c) in met} for t in CALLABLE}
    return {truth: row for truth, row in rows.items() if row}


def _right(answers: Iterable[Answer]) -> Rate:
    return counted(answers, lambda a: bool(a.right))


def score(answers: Iterable[Answer]) -> Score:
    every = tuple(answers)
    named = [a for a in every if a.paths]
    stated = [(a.sure, bool(a.right)) for a in named]
    right = _right(named)
    mean_sure = sum(a.sure for a in named) / len(named) if named else None
    there = {p: [a for a in every if p in a.truth] for p in CALLABLE}
    return Score(
        total=len(every),
        answered=len(named),
        cannot_tell=len(every) - len(named),
        right=right,
        hit_rates={p: counted(there[p], lambda a, p=p: p in a.paths) for p in CALLABLE if there[p]},  # type: ignore[misc]
        false_calls=counted(there["none"], lambda a: bool(set(a.paths) - {"none"})),
        confusion=_confusion(every),
        brier=brier(stated),
        overconfidence=mean_sure - (right.value or 0.0) if mean_sure is not None else None,
        calibration=calibration(stated, CONFIDENCE_BINS),
        with_readings=counted((a for a in every if a.right_then is not None), lambda a: bool(a.right_then)),
        focus={tag: _right(a for a in every if tag in a.focus) for tag in sorted({t for a in every for t in a.focus})},
    )


def weakest(scored: Score) -> tuple[str, ...]:
    """Tags and paths at which this learner does worst, worst first; only those met ``LEAST_MET`` times or more."""
    rates = {**scored.hit_rates, **scored.focus}
    met = [(r.value or 0.0, name) for name, r in rates.items() if r.of >= LEAST_MET]
    return tuple(name for share, name in sorted(met) if share < WEAK_BELOW)


START_DB = 12.0
DOWN_DB = 1.0
UP_DB = 3.0
FAST_DB = 3.0
CEILING_DB = 15.0
TWO = "two leaks"
FLOOR_DB = {"none": 0.0, "rings": 2.0, "fitting": -4.0}
LOWEST_DB = -12.0
"""Where it ends: below, the meter itself needs longer clips; rings must stay above what blow-by may be, and on sound
cylinders the level says how little blow-by there is (``BLOW_BY_AT_0_DB`` less it)."""


def floor_db(trains: str) -> float:
    return FLOOR_DB.get(trains, LOWEST_DB)


def found(answer: Answer) -> bool:
    """Whether the call by ear named all that was there, and nothing else."""
    return set(answer.paths) == set(answer.truth)


def level_db(trains: str, answers: Iterable[Answer]) -> float:
    """Level of the next round on a staircase, from all answers so far."""
    level, missed = START_DB, False
    for answer in answers:
        if answer.trains != trains:
            continue
        if found(answer):
            level -= DOWN_DB if missed else FAST_DB
        else:
            level, missed = level + UP_DB, True
        # Held at both ends on every step: what was missed at an end must not be made up for later.
        level = min(max(level, floor_db(trains)), CEILING_DB)
    return level
