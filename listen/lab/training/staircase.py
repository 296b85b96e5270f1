"""How plain the next round of a path is made: a staircase a path, down while it is called right, up where it is lost.

Weighted steps (Kaernbach 1991): down by ``DOWN_DB`` after a right call, up by three times that after any other, which
settles where three of four are right. Until the first miss it goes down in larger steps, never more than ``FAST_DB``.
"""

from collections.abc import Iterable

from listen.lab.training.answers import Answer

START_DB = 12.0
"""Plainly audible."""
DOWN_DB = 1.0
UP_DB = 3.0
FAST_DB = 3.0
CEILING_DB = 15.0
TWO = "two leaks"
"""Staircase of pairs."""
FLOOR_DB = {"none": 0.0, "rings": 2.0, "fitting": -4.0}
LOWEST_DB = -12.0
"""Where it ends: below, the meter itself needs longer clips; rings must stay above what blow-by may be, and on sound
cylinders the level says how little blow-by there is (``BLOW_BY_AT_0_DB`` less it)."""


def floor_db(trains: str) -> float:
    """The faintest made for a staircase."""
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
        level = min(max(level, floor_db(trains)), CEILING_DB)
    return level
