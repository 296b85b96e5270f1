"""Known engine layouts; who stands next to whom in an engine, and where its cylinders are listened to."""

from collections.abc import Sequence
from functools import cache

import msgspec

from listen.errors import EngineError
from listen.trade.engine import Arrangement, Engine, Exhaust
from listen.trade.points import Point, PointRow, point, point_rows
from listen.trade.tables import rows


class Numbering(msgspec.Struct, frozen=True):
    id: str
    words: str
    rows: tuple[tuple[int, ...], ...]


class Layout(msgspec.Struct, frozen=True):
    """One row of ``layouts.toml``."""

    id: str
    words: str
    arrangement: Arrangement
    ask: tuple[str, ...]
    firing_orders: tuple[tuple[int, ...], ...]
    numbering: tuple[Numbering, ...]
    sources: tuple[str, ...]


@cache
def layout_rows() -> tuple[Layout, ...]:
    """All rows of ``layouts.toml``."""
    return rows("layouts", "layout", Layout)


def layout_row(layout_id: str) -> Layout:
    """Look a layout up. Raises EngineError: unknown identifier; the message lists the known ones."""
    for row in layout_rows():
        if row.id == layout_id:
            return row
    known = " ".join(row.id for row in layout_rows())
    raise EngineError(f"unknown layout {layout_id[:60]!r}; known: {known}, or give rows")


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
