"""Figures a mechanic compares with: thresholds the logic reads, rules of thumb to show, expected compression."""

from bisect import bisect_right
from collections.abc import Sequence

import msgspec

from listen.trade.tables import Row, by_id, read_table, rows_of


class Threshold(Row, frozen=True, kw_only=True):
    value: float
    unit: str


class Number(msgspec.Struct, frozen=True):
    id: str
    item: str
    figures: str
    use: str
    sources: tuple[str, ...]


thresholds = by_id("thresholds", "threshold", Threshold)


numbers = rows_of("numbers", "number", Number)


def threshold(threshold_id: str) -> float:
    return thresholds()[threshold_id].value


def expected_dry_kpa(ratio: float, altitude_m: float = 0.0) -> float:
    """Dry compression expected of a healthy engine, kPa gauge, by compression ratio (4 to 24) and altitude.

    Good to -15/+5 %; the maker's figure comes first.
    """
    table = read_table("numbers")["expected_kpa"]
    return between(ratio, table["ratio"], table["dry"]) * altitude_share(altitude_m)


def altitude_share(altitude_m: float) -> float:
    """Share of the sea-level gauge reading left at an altitude in metres."""
    table = read_table("numbers")["altitude"]
    return between(altitude_m, table["metres"], table["share"])


def agreeing_share(loss_percent: float) -> tuple[float, float]:
    """Lowest and highest share of its mates' compression that goes with a loss in percent (1 mm restrictor)."""
    table = read_table("numbers")["agreement"]
    at = table["loss_percent"]
    return between(loss_percent, at, table["lowest_share"]), between(loss_percent, at, table["highest_share"])


def between(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    """Straight line between table entries, flat beyond the ends."""
    # Held, not carried on: beyond its ends a rule of thumb says nothing.
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    i = bisect_right(xs, x)
    return ys[i - 1] + (ys[i] - ys[i - 1]) * (x - xs[i - 1]) / (xs[i] - xs[i - 1])
