"""So many of so many, with the bounds such a count leaves, and how well stated sureness agrees with what was right.

For scores of learners, of contenders of the bench, of the shop and the tool.
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
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
    every = list(items)
    return exact_rate(sum(map(hit, every)), len(every))


Stated = tuple[float, bool]
"""Sureness stated, 0 to 1, and whether it was right."""


class Bin(msgspec.Struct, frozen=True):
    """Calls made with about the same sureness: a row of a calibration table."""

    low: float
    high: float
    """Stated sureness from ``low`` up to, not including, ``high`` (the last includes 1)."""
    mean_sure: float
    rate: Rate
    """Of those, how many were right."""


def calibration(stated: Sequence[Stated], edges: Sequence[float]) -> tuple[Bin, ...]:
    """Rows between the ``edges`` (0 to 1) for the classes in which something was stated."""
    rows = []
    for low, high in pairwise(edges):
        # The last class alone holds its upper edge: who says 1 stands in it.
        inside = [(sure, right) for sure, right in stated if low <= sure < high or sure == high == 1.0]
        if inside:
            mean = sum(sure for sure, _ in inside) / len(inside)
            rows.append(Bin(low, high, mean, counted(inside, lambda call: call[1])))
    return tuple(rows)


def brier(stated: Sequence[Stated]) -> float | None:
    """Mean square of sureness less 1 (right) or 0 (wrong) (Brier 1950): 0 is best, 0.25 always says one half."""
    return sum((sure - right) ** 2 for sure, right in stated) / len(stated) if stated else None
