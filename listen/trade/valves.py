"""Which valves of the other cylinders stand open while one cylinder is at top dead centre on compression."""

from collections.abc import Sequence
from typing import Literal

from listen.errors import EngineError
from listen.trade.engine import Engine

CYCLE_DEG = 720.0
"""Crank degrees of a four-stroke cycle."""

EXHAUST_OPEN_DEG = (120.0, 390.0)
INTAKE_OPEN_DEG = (330.0, 600.0)
"""Crank degrees after the cylinder's own firing top dead centre between which the valve is, or may be, off its seat.

Wide on purpose (60 degrees before and after bottom, 30 past top): cams differ, and "may be ajar" is what matters
to a listener. In a six, 120 degrees either side counts as intake just closing and exhaust just opening."""

OpenValve = Literal["intake", "exhaust", "overlap"]


def firing_angles(firing_order: Sequence[int], steps_deg: Sequence[float] = ()) -> dict[int, float]:
    """Crank degrees at which each cylinder fires, counted from the first of ``firing_order``."""
    steps = list(steps_deg) or [CYCLE_DEG / len(firing_order)] * len(firing_order)
    angles: dict[int, float] = {}
    at = 0.0
    for cylinder, step in zip(firing_order, steps, strict=True):
        angles[cylinder] = at
        at += step
    return angles


def valve_open(after_firing_deg: float) -> OpenValve | None:
    """Valve off its seat so many crank degrees after the cylinder fired (0-720)."""
    exhaust = EXHAUST_OPEN_DEG[0] <= after_firing_deg <= EXHAUST_OPEN_DEG[1]
    intake = INTAKE_OPEN_DEG[0] <= after_firing_deg <= INTAKE_OPEN_DEG[1]
    if exhaust and intake:
        return "overlap"
    return "exhaust" if exhaust else "intake" if intake else None


def valves_open(engine: Engine | None, firing_order: Sequence[int], n: int) -> dict[int, OpenValve | None]:
    """What stands open in every other cylinder while ``n`` is at top dead centre on compression.

    Parameters
    ----------
    engine
        Gives the firing order where ``firing_order`` is empty, and uneven steps; may be None.
    firing_order
        Cylinder numbers as they fire; wins over the engine's.
    n
        Cylinder under test.

    Returns
    -------
    dict
        Other cylinder -> ``intake``, ``exhaust``, ``overlap`` (both ajar) or None (both shut); empty where the firing
        order is not known.

    Raises
    ------
    EngineError
        ``n`` is not in the firing order.
    """
    order = tuple(firing_order) or (engine.firing_order if engine else ())
    if not order:
        return {}
    if n not in order:
        raise EngineError(f"cylinder {n} is not in the firing order {'-'.join(map(str, order))}")
    same = engine is not None and order == engine.firing_order
    angles = firing_angles(order, engine.firing_steps_deg if engine is not None and same else ())
    return {m: valve_open((angles[n] - angles[m]) % CYCLE_DEG) for m in order if m != n}
