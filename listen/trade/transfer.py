"""Who hears whom: how loud one path's air is at another path's listening point, read from ``transfer.toml``;
and which valves of the other cylinders stand open while one is at top dead centre on compression."""

from collections.abc import Sequence
from functools import cache
from itertools import accumulate
from typing import Literal

import msgspec

from listen.errors import EngineError
from listen.trade.engine import Engine
from listen.trade.points import PathId, Point
from listen.trade.tables import table

CYCLE_DEG = 720.0

EXHAUST_OPEN_DEG = (120.0, 390.0)
INTAKE_OPEN_DEG = (330.0, 600.0)
"""Crank degrees after the cylinder's own firing top dead centre between which the valve is, or may be, off its seat.

Wide on purpose (60 degrees before and after bottom, 30 past top): cams differ, and "may be ajar" is what matters
to a listener. In a six, 120 degrees either side counts as intake just closing and exhaust just opening."""

OpenValve = Literal["intake", "exhaust", "overlap"]


def firing_angles(firing_order: Sequence[int], steps_deg: Sequence[float] = ()) -> dict[int, float]:
    """Crank degrees at which each cylinder fires, counted from the first of ``firing_order``."""
    steps = list(steps_deg) or [CYCLE_DEG / len(firing_order)] * len(firing_order)
    # The last step leads back to the first.
    return dict(zip(firing_order, accumulate(steps, initial=0.0), strict=False))


def valve_open(after_firing_deg: float) -> OpenValve | None:
    """Valve off its seat so many crank degrees after the cylinder fired (0-720)."""
    exhaust = EXHAUST_OPEN_DEG[0] <= after_firing_deg <= EXHAUST_OPEN_DEG[1]
    intake = INTAKE_OPEN_DEG[0] <= after_firing_deg <= INTAKE_OPEN_DEG[1]
    if exhaust and intake:
        return "overlap"
    return "exhaust" if exhaust else "intake" if intake else None


def valves_in_turn(neighbours: Sequence[int]) -> list[dict[int, OpenValve | None]]:
    """What may stand open in cylinders beside the one under test where the firing order is not known, each as likely.

    In a four each of the others has a valve off its seat, in larger engines some have none; of two neighbours no two
    stand alike.
    """
    # In the order of a cycle, so that neighbours in turn never stand alike.
    turns: tuple[OpenValve | None, ...] = ("intake", "overlap", "exhaust", None)
    return [{n: turns[(first + i) % len(turns)] for i, n in enumerate(neighbours)} for first in range(len(turns))]


def valves_open(engine: Engine | None, firing_order: Sequence[int], n: int) -> dict[int, OpenValve | None]:
    """What stands open in every other cylinder while ``n`` is at top dead centre on compression.

    ``firing_order`` wins over the engine's, which also gives uneven steps. Gives by cylinder ``intake``, ``exhaust``,
    ``overlap`` (both ajar) or None (both shut); nothing where the firing order is not known.

    Raises EngineError: ``n`` is not in the firing order."""
    order = tuple(firing_order) or (engine.firing_order if engine else ())
    if not order:
        return {}
    if n not in order:
        raise EngineError(f"cylinder {n} is not in the firing order {'-'.join(map(str, order))}")
    same = engine is not None and order == engine.firing_order
    angles = firing_angles(order, engine.firing_steps_deg if engine is not None and same else ())
    return {m: valve_open((angles[n] - angles[m]) % CYCLE_DEG) for m in order if m != n}


OWN_SPREAD_DB = 1.0
"""What is left open at a path's own point: where exactly the microphone was held in quiet and in air."""


class Transfer(msgspec.Struct, frozen=True):
    mean_db: float
    spread_db: float
    why: str = ""
    through_valve: bool = False
    """Past a valve that stands open: what comes out there may be louder than at the path's own point."""


class _Row(Transfer, frozen=True):
    path: PathId = PathId.NONE
    point: str = ""
    valve: str = ""


class _Table(msgspec.Struct, frozen=True):
    default: Transfer
    another: Transfer
    another_hole: Transfer
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
        if row.path != path or row.point not in ("", point.id, point.row.id, point.row.like):
            continue
        # With both valves ajar either row fits.
        if row.valve and (open_valve is None or open_valve not in (row.valve, "overlap")):
            continue
        return Transfer(row.mean_db, row.spread_db, row.why, bool(row.valve))
    return Transfer(0.0, OWN_SPREAD_DB) if path in point.row.own else _table().default


def another_mouth(at: Point) -> Transfer:
    """How a path that comes out at one of its own points is heard at another of them."""
    return _table().another if at.neighbour is None else _table().another_hole
