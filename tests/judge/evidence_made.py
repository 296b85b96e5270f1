"""Evidence made by hand: each point's likelihood is a bump at a stated hiss level, or silence below a limit."""

from __future__ import annotations

import numpy as np

from listen.judge.evidence import Bubbles, PointEvidence, Readings, RoundEvidence
from listen.judge.loudness import LEVELS_DB
from listen.trade.points import point

WIDTH_DB = 2.0
LIMIT_DB = -14.0


def heard(level_db: float):
    """Log likelihood of a hiss measured at ``level_db``."""
    shape = -0.5 * ((LEVELS_DB - level_db) / WIDTH_DB) ** 2
    floor = -0.5 * ((level_db - LIMIT_DB) / WIDTH_DB) ** 2
    out = np.where(level_db > LEVELS_DB, np.maximum(shape, floor if level_db > LIMIT_DB else 0.0), shape)
    return out - out[0]


def silent():
    """Log likelihood of nothing heard: all levels below the limit are alike."""
    out = -0.5 * (np.maximum(LEVELS_DB - LIMIT_DB, 0.0) / WIDTH_DB) ** 2
    return out - out[0]


def made(levels: dict[str, float | None], *, sound=None, bubbles=None, **readings) -> RoundEvidence:
    """Evidence from point -> level (``None``: nothing heard); ``sound`` likewise for the sound cylinder."""
    sound = sound or {}
    points = tuple(
        PointEvidence(
            point(p),
            (silent() if v is None else heard(v))[None],
            None if p not in sound else silent() if sound[p] is None else heard(sound[p]),
        )
        for p, v in levels.items()
    )
    return RoundEvidence(points, None if bubbles is None else Bubbles(*bubbles), Readings(**readings))


FOUR = ("intake", "tailpipe", "oil-filler", "radiator")


def loud_at(where: str, level_db: float = 8.0) -> dict[str, float | None]:
    """One point loud, normal blow-by at the filler, the rest silent."""
    levels: dict[str, float | None] = dict.fromkeys(FOUR)
    levels["oil-filler"] = -7.0
    levels[where] = level_db
    return levels
