"""So many of so many, with the bounds such a count leaves: for scores of learners, of contenders, of the tool."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

import msgspec

_T = TypeVar("_T")


class Rate(msgspec.Struct, frozen=True):
    """A count with its exact 95 % bounds."""

    hits: int
    of: int
    low95: float
    high95: float

    @property
    def value(self) -> float | None:
        """Share, or None of nothing."""
        return self.hits / self.of if self.of else None


def exact_rate(hits: int, of: int) -> Rate:
    """A count with the bounds of Clopper & Pearson (1934); 0 to 1 where there is nothing to go by."""
    if not of:
        return Rate(0, 0, 0.0, 1.0)
    from scipy.special import betaincinv  # not scipy.stats.binomtest: that import takes a second, this one a third

    low = float(betaincinv(hits, of - hits + 1, 0.025)) if hits else 0.0
    high = float(betaincinv(hits + 1, of - hits, 0.975)) if hits < of else 1.0
    return Rate(hits, of, low, high)


def counted(items: Iterable[_T], hit: Callable[[_T], bool]) -> Rate:
    """How many of the items hit."""
    every = list(items)
    return exact_rate(sum(map(hit, every)), len(every))
