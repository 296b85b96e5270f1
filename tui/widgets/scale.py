"""Where a value stands on a drawn scale: decibels to columns, and the ticks that label it."""

from dataclasses import dataclass

TOPS_DB = (6.0, 12.0, 20.0, 30.0, 40.0, 60.0)
"""Upper ends the excess scale may take; the smallest that holds everything is used."""
STEPS_DB = (1.0, 2.0, 5.0, 10.0, 20.0)
MIN_TICK_COLUMNS = 6
"""Room a tick label needs."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A linear scale from ``low`` to ``high`` over a number of columns."""

    low: float
    high: float
    columns: int

    def column(self, value: float) -> float:
        """Column of a value, clamped to the drawing."""
        share = (value - self.low) / (self.high - self.low)
        return min(max(share, 0.0), 1.0) * max(self.columns - 1, 1)

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high

    def ticks(self) -> list[float]:
        """Round values to label, no denser than they can be read."""
        per_column = (self.high - self.low) / max(self.columns, 1)
        step = next((s for s in STEPS_DB if s >= per_column * MIN_TICK_COLUMNS), STEPS_DB[-1])
        first = -(-self.low // step) * step
        count = int((self.high - first) // step) + 1
        return [first + i * step for i in range(count)]


def excess_scale(values: list[float], columns: int) -> Scale:
    """Scale of a ladder: a little below zero, and as far up as its values need."""
    top = max(values, default=0.0)
    high = next((t for t in TOPS_DB if t >= top), TOPS_DB[-1])
    return Scale(-high / 6, high, columns)
