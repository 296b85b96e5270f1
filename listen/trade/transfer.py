"""Who hears whom: how loud one path's air is at another path's listening point, read from ``transfer.toml``."""

from functools import cache

import msgspec

from listen.trade.points import PathId, Point
from listen.trade.tables import table
from listen.trade.valves import OpenValve

OWN_SPREAD_DB = 1.0
"""What is left open at a path's own point: where exactly the microphone was held in quiet and in air."""


class Transfer(msgspec.Struct, frozen=True):
    """Level at a point about the path's own point."""

    mean_db: float
    spread_db: float
    why: str = ""


class _Row(Transfer, frozen=True):
    path: PathId = PathId.NONE
    point: str = ""
    valve: str = ""


class _Table(msgspec.Struct, frozen=True):
    default: Transfer
    another: Transfer
    row: tuple[_Row, ...]


@cache
def _table() -> _Table:
    return table("transfer", _Table)


def transfer(path: PathId, point: Point, open_valve: OpenValve | None = None) -> Transfer:
    """How ``path`` is heard at ``point``; the first row that fits wins, then own point, then the default.

    ``open_valve`` is the valve of the neighbouring cylinder that stands open: the hole's own cylinder for a plug hole,
    the leaking neighbour for the next-cylinder path.
    """
    for row in _table().row:
        if row.path != path or (row.point and not _is(row.point, point)):
            continue
        if row.valve and (open_valve is None or open_valve not in (row.valve, "overlap")):
            continue
        return Transfer(row.mean_db, row.spread_db, row.why)
    return Transfer(0.0, OWN_SPREAD_DB) if path in point.row.own else _table().default


def another_mouth() -> Transfer:
    """How a path that comes out at one of its own points is heard at another of them."""
    return _table().another


def _is(name: str, point: Point) -> bool:
    return name in (point.id, point.row.id, point.row.like)
