"""One engine as described for the job: rows of cylinders, heads, firing order, exhausts; refused if it
cannot be; known layouts, who stands next to whom, and where cylinders are listened to."""

from collections.abc import Sequence
from typing import Literal

import msgspec

from listen.errors import EngineError
from listen.trade.points import Point, PointRow, point, point_rows
from listen.trade.tables import Row, row_named, rows_of

MAX_CYLINDERS = 24
"""Most cylinders an engine may have here (points are numbered with at most two digits)."""

Arrangement = Literal["inline", "vee", "flat", "rows"]


class Exhaust(msgspec.Struct, frozen=True):
    """One exhaust system up to its mouth, and the cylinders that blow into it."""

    point: str = "tailpipe"
    """Listening point at its mouth."""
    cylinders: tuple[int, ...] = ()
    """Cylinders feeding it; empty means all."""


class Engine(msgspec.Struct, frozen=True, kw_only=True):
    """One engine as described for the job.

    Raises EngineError: numbers missing, doubled or out of range; a firing order, head or exhaust naming a cylinder
    that is not there."""

    name: str
    layout: str
    """Identifier of its layout row, or ``rows`` where it was described row by row."""
    rows: tuple[tuple[int, ...], ...]
    """Cylinder numbers of each row (bank), from the front end; rows from left to right, seen from above."""
    arrangement: Arrangement = "inline"
    firing_order: tuple[int, ...] = ()
    """Empty where it is not known."""
    firing_steps_deg: tuple[float, ...] = ()
    """Crank degrees from each firing to the next, 720 in all; empty means equal steps."""
    heads: tuple[tuple[int, ...], ...] = ()
    """Cylinders under one head and gasket; empty means one head a row."""
    exhausts: tuple[Exhaust, ...] = (Exhaust(),)
    """Exhaust systems: one shared, or two for a true dual exhaust."""
    shared_intakes: tuple[tuple[int, ...], ...] = ()
    """Cylinders on one intake arm, which hear each other."""
    shared_exhaust_ports: tuple[tuple[int, ...], ...] = ()
    cooling: Literal["liquid", "air"] = "liquid"
    """An air-cooled engine has no radiator to listen at."""
    crankcase_point: str = "oil-filler"
    fuel: Literal["petrol", "diesel"] = "petrol"
    """A diesel has no throttle and no plugs to read, and presses two to three times as high."""
    side_valve: bool = False
    """Valves beside the cylinder: some smoke signs do not apply."""
    slanted: bool = False
    """True where oil poured into a cylinder lies to one side (flat or steeply slanted)."""

    def __post_init__(self) -> None:
        check_engine(self)

    @property
    def cylinders(self) -> tuple[int, ...]:
        return tuple(sorted(n for row in self.rows for n in row))

    @property
    def lies_flat(self) -> bool:
        """True where a wet test says little, because the oil lies to one side."""
        return self.slanted or self.arrangement == "flat"


def check_engine(engine: Engine) -> None:
    numbers = [n for row in engine.rows for n in row]
    if not numbers or any(not row for row in engine.rows):
        raise EngineError(
            f"{engine.name or 'engine'}: a row without cylinders; give the numbers of each row, e.g. 1-2-3"
        )
    if len(numbers) > MAX_CYLINDERS or any(not 1 <= n <= 99 for n in numbers):
        raise EngineError(
            f"{len(numbers)} cylinders, numbers {min(numbers)} to {max(numbers)}; up to {MAX_CYLINDERS}, 1 to 99"
        )
    if len(set(numbers)) != len(numbers):
        twice = sorted({n for n in numbers if numbers.count(n) > 1})
        raise EngineError(f"cylinder {twice[0]} stands twice in the rows; each number once")
    if engine.firing_order and sorted(engine.firing_order) != sorted(numbers):
        order = "-".join(map(str, engine.firing_order))
        raise EngineError(f"firing order {order} does not name each of {sorted(numbers)} once; read it off the engine")
    steps, firings = engine.firing_steps_deg, len(engine.firing_order)
    if steps and (len(steps) != firings or min(steps) < 0 or abs(sum(steps) - 720) > 1):
        raise EngineError(f"firing steps {steps}: one for each of {firings} firings, 720 degrees in all")
    _check_groups(engine, set(numbers))


def _check_groups(engine: Engine, numbers: set[int]) -> None:
    groups = {
        "head": engine.heads,
        "shared intake": engine.shared_intakes,
        "shared exhaust port": engine.shared_exhaust_ports,
        "exhaust": tuple(e.cylinders for e in engine.exhausts),
    }
    for what, listed in groups.items():
        if strangers := {n for group in listed for n in group} - numbers:
            raise EngineError(f"{what} names cylinder {min(strangers)}, the engine has {sorted(numbers)}")
    for exhaust in engine.exhausts:
        point(exhaust.point)
    if point(engine.crankcase_point).row.walked != "crankcase":
        raise EngineError(f"crankcase listened to at {engine.crankcase_point}; no crankcase ends there")


class Numbering(msgspec.Struct, frozen=True):
    id: str
    words: str
    rows: tuple[tuple[int, ...], ...]


class Layout(Row, frozen=True, kw_only=True):
    arrangement: Arrangement
    ask: tuple[str, ...]
    firing_orders: tuple[tuple[int, ...], ...]
    numbering: tuple[Numbering, ...]


layout_rows = rows_of("layouts", "layout", Layout)


def layout_row(layout_id: str) -> Layout:
    """Look a layout up. Raises EngineError: unknown identifier; the message lists the known ones."""
    return row_named({row.id: row for row in layout_rows()}, layout_id, "layout", EngineError, ", or give rows")


def layout(
    layout_id: str,
    *,
    name: str = "",
    numbering: str | None = None,
    firing_order: Sequence[int] | None = None,
    exhausts: Sequence[Exhaust] = (Exhaust(),),
) -> Engine:
    """An engine of a known layout, numbered and firing in the first listed way unless told otherwise.

    Use ``msgspec.structs.replace`` for the rarer fields (heads, shared intakes, cooling, ...).

    Raises EngineError: unknown layout or numbering, or a firing order that does not fit."""
    row = layout_row(layout_id)
    ways = {way.id: way for way in row.numbering}
    if numbering is not None and numbering not in ways:
        raise EngineError(f"{row.words} is not numbered {numbering!r} here; known: {' '.join(ways)}, or give rows")
    way = row.numbering[0] if numbering is None else ways[numbering]
    return Engine(
        name=name or row.words,
        layout=row.id,
        rows=way.rows,
        arrangement=row.arrangement,
        firing_order=tuple(row.firing_orders[0] if firing_order is None else firing_order),
        exhausts=tuple(exhausts),
    )


def engine_of_rows(rows: Sequence[Sequence[int]], *, firing_order: Sequence[int] = ()) -> Engine:
    """Any other engine, described row by row. Raises :class:`EngineError` as :class:`Engine` does."""
    numbers = tuple(tuple(row) for row in rows)
    words = f"{sum(map(len, numbers))} cylinders in {len(numbers)} row{'s' if len(numbers) != 1 else ''}"
    return Engine(name=words, layout="rows", rows=numbers, arrangement="rows", firing_order=tuple(firing_order))


def place(engine: Engine, n: int) -> tuple[int, int]:
    """Row of cylinder ``n`` (0 is leftmost) and its place in the row (0 is at the front end)."""
    for r, row in enumerate(engine.rows):
        if n in row:
            return r, row.index(n)
    raise EngineError(f"no cylinder {n}; the engine has {list(engine.cylinders)}")


def row_neighbours(engine: Engine, n: int) -> tuple[int, ...]:
    """Cylinders standing directly beside ``n`` in its own row; never across a vee or a flat crankcase."""
    r, i = place(engine, n)
    return tuple(engine.rows[r][j] for j in (i - 1, i + 1) if 0 <= j < len(engine.rows[r]))


def neighbours(engine: Engine, n: int) -> tuple[int, ...]:
    """Row neighbours under the same head: only there can a gasket leak from one cylinder into the next."""
    heads = engine.heads or engine.rows
    return tuple(m for m in row_neighbours(engine, n) if any(n in head and m in head for head in heads))


def points_for(engine: Engine, n: int) -> tuple[Point, ...]:
    """Listening points for cylinder ``n``, in walking order.

    Both mouths of a dual exhaust are walked: the far one is the control, and shows a wrongly assumed side.
    """
    # Refuses a cylinder that the engine has not.
    place(engine, n)
    return tuple(point(id) for row in point_rows() for id in _walked(engine, n, row))


def _walked(engine: Engine, n: int, row: PointRow) -> tuple[str, ...]:
    """Points of one row that are walked on this engine."""
    if row.walked == "neighbours":
        return tuple(f"{row.id}-{m}" for m in sorted(neighbours(engine, n)))
    named = {
        "always": True,
        "liquid-cooled": engine.cooling == "liquid",
        "exhaust": any(e.point == row.id for e in engine.exhausts),
        "crankcase": engine.crankcase_point == row.id,
    }
    return (row.id,) if named[row.walked] else ()
