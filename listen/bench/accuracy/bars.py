"""The bars the figures are held against, and whether each is met."""

from collections.abc import Callable
from typing import NamedTuple

from listen.bench.accuracy.scores import Scores


class Bar(NamedTuple):
    """One bar on a contender's scores."""

    name: str
    limit: str
    figure: Callable[[Scores], float | None]
    passes: Callable[[Scores, float], bool]


ROUND_BARS = (
    Bar("right of named", ">= 97 %", lambda s: s.right.value, lambda s, v: v >= 0.97),
    Bar("right at 95 %+", ">= 95 %", lambda s: s.sure.value, lambda s, v: v >= 0.95),
    Bar("false calls", "<= 2 %", lambda s: s.false_calls.value, lambda s, v: v <= 0.02),
    Bar("named", ">= 75 %", lambda s: s.coverage.value, lambda s, v: v >= 0.75),
    Bar("named with help", ">= 85 %", lambda s: s.helped.value, lambda s, v: v >= 0.85),
    Bar("Brier", "<= 0.15", lambda s: s.brier, lambda s, v: v <= 0.15),
    Bar("log loss", "<= 0.40", lambda s: s.log_loss, lambda s, v: v <= 0.40),
    Bar("ECE", "<= 1.5 x floor", lambda s: s.ece, lambda s, v: v <= 1.5 * s.ece_floor),
)
"""Held in every world by itself."""
COMPARED: tuple[tuple[str, int, Callable[[Scores], float | None]], ...] = (
    ("right of answered", 1, lambda s: s.right.value),
    ("coverage", 1, lambda s: s.coverage.value),
    ("false calls", -1, lambda s: s.false_calls.value),
    ("AUGRC", -1, lambda s: s.augrc),
    ("Brier", -1, lambda s: s.brier),
    ("log loss", -1, lambda s: s.log_loss),
    ("ECE", -1, lambda s: s.ece),
)
"""Scores on which our method should be better than every peer; 1 where more is better, -1 where less is."""
DEPTH_BAR_DB = 1.0
"""Detection depth may lie this far above the limit."""
FALSE_ALARM_FACTOR = 2.0
"""Measured false alarm within this factor of the stated one, either way."""
COVERAGE_BAR = (0.93, 0.97)
"""Share of 95 % intervals that hold the truth."""


def not_beaten(ours: Scores, peer: Scores) -> tuple[str, ...]:
    """Scores on which the peer is as good as ours or better."""
    out = []
    for name, sign, figure in COMPARED:
        a, b = figure(ours), figure(peer)
        if a is not None and b is not None and sign * b >= sign * a:
            out.append(name)
    return tuple(out)


def standing(bar: Bar, scores: Scores) -> str:
    """``met`` or ``missed``; ``no rounds`` where there is no figure."""
    value = bar.figure(scores)
    return "no rounds" if value is None else "met" if bar.passes(scores, value) else "MISSED"
