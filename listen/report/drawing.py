"""Where things stand in the drawings: the engine from above, and a round's decibel ladder."""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from listen.report.content import PointPart
from listen.trade.engine import Engine
from listen.trade.layout import place

ROW_GAP, PLACE_GAP, EDGE = 112.0, 104.0, 58.0
"""Distances in the engine drawing: between rows, between cylinders of a row, to the rim."""
RADIUS = 36.0
LADDER_WIDTH, LABEL_WIDTH, LINE, TOP, RIGHT = 420.0, 158.0, 30.0, 40.0, 16.0
"""The ladder: whole width (a phone's, so that its words are not scaled away), room for names, height of a line, room
for the scale, room at the end."""
LEAST_DB, MOST_DB = -1.0, 3.0
"""The ladder always shows at least this much."""
STEPS_DB = (0.5, 1, 2, 5, 10, 20)
TICKS_MOST = 7


@dataclass(frozen=True, slots=True)
class Spot:
    number: int
    x: float
    y: float
    marked: bool


@dataclass(frozen=True, slots=True)
class Box:
    """One head, or a path between two cylinders."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class EngineDrawing:
    """The engine from above, front end to the left: flat enough for a phone."""

    width: float
    height: float
    heads: tuple[Box, ...]
    bridges: tuple[Box, ...]
    spots: tuple[Spot, ...]
    alt: str


def engine_drawing(engine: Engine, marked: Collection[int], alt: str, *, between: bool = False) -> EngineDrawing:
    """Lay the engine out with the places marked; ``between`` marks the gasket between them, not the cylinders."""
    at = {n: _at(engine, n) for n in engine.cylinders}
    pairs = [(a, b) for a in marked for b in marked if between and a < b and a in at and b in at]
    return EngineDrawing(
        width=2 * EDGE + PLACE_GAP * (max(map(len, engine.rows)) - 1),
        height=2 * EDGE + ROW_GAP * (len(engine.rows) - 1),
        heads=tuple(_around([at[n] for n in head]) for head in engine.heads or engine.rows if head),
        bridges=tuple(_between(at[a], at[b]) for a, b in pairs),
        spots=tuple(Spot(n, *at[n], n in marked and not between) for n in at),
        alt=alt,
    )


def _at(engine: Engine, n: int) -> tuple[float, float]:
    """Turned so that the front is at the left; the left row then lies at the bottom."""
    row, i = place(engine, n)
    return EDGE + PLACE_GAP * i, EDGE + ROW_GAP * (len(engine.rows) - 1 - row)


def _around(points: Sequence[tuple[float, float]]) -> Box:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    rim = RADIUS + 12
    return Box(min(xs) - rim, min(ys) - rim, max(xs) - min(xs) + 2 * rim, max(ys) - min(ys) + 2 * rim)


def _between(a: tuple[float, float], b: tuple[float, float]) -> Box:
    x, y = (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
    return Box(x - 7, y - 24, 14, 48)


@dataclass(frozen=True, slots=True)
class Ladder:
    """Excess per point, a line each, on one scale whose zero is the shop's own noise."""

    low_db: float
    high_db: float
    alt: str
    height: float
    width: float = LADDER_WIDTH

    def x(self, db: float) -> float:
        span = (self.high_db - self.low_db) * 1.04
        return LABEL_WIDTH + (LADDER_WIDTH - LABEL_WIDTH - RIGHT) * (db - self.low_db) / span

    def y(self, i: int) -> float:
        return TOP + LINE * (i + 0.5)

    @property
    def ticks(self) -> list[tuple[float, str]]:
        """Places and words of the scale."""
        return [(self.x(t), f"{t:+g}" if t else "0") for t in ticks(self.low_db, self.high_db)]


def ladder(points: Sequence[PointPart]) -> Ladder:
    """Lay a round's points out."""
    figures = [v for p in points for v in (p.excess_db, p.low_db, p.high_db, p.limit_db) if v is not None]
    words = " ".join(f"{p.words}: {p.says}" for p in points)
    return Ladder(
        low_db=min([LEAST_DB, *figures]),
        high_db=max([MOST_DB, *figures]),
        alt=f"Excess in decibels above the shop's own noise. {words}",
        height=TOP + LINE * len(points) + 10,
    )


def ticks(low: float, high: float) -> list[float]:
    """Round figures on a scale, zero among them."""
    step = next((s for s in STEPS_DB if (high - low) / s <= TICKS_MOST), STEPS_DB[-1] * 2)
    first = math.ceil(low / step)
    return [round(i * step, 6) for i in range(first, math.floor(high / step) + 1)]
