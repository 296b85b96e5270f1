"""One engine as described for the job: rows of cylinders, heads, firing order, exhausts; refused if it cannot be."""

from typing import Literal

import msgspec

from listen.errors import EngineError
from listen.trade.points import point

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
    """Free words for this engine."""
    layout: str
    """Identifier of its layout row, or ``rows`` where it was described row by row."""
    rows: tuple[tuple[int, ...], ...]
    """Cylinder numbers of each row (bank), from the front end; rows from left to right, seen from above."""
    arrangement: Arrangement = "inline"
    """How the rows stand to each other."""
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
        """Cylinder numbers in rising order."""
        return tuple(sorted(n for row in self.rows for n in row))

    @property
    def lies_flat(self) -> bool:
        """True where a wet test says little, because the oil lies to one side."""
        return self.slanted or self.arrangement == "flat"


def check_engine(engine: Engine) -> None:
    """Refuse an engine that cannot be (see :class:`Engine`)."""
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
    _check_steps(engine)
    _check_groups(engine, set(numbers))


def _check_steps(engine: Engine) -> None:
    steps = engine.firing_steps_deg
    if not steps:
        return
    if len(steps) != len(engine.firing_order) or any(step < 0 for step in steps) or abs(sum(steps) - 720) > 1:
        raise EngineError(
            f"firing steps {steps}: one for each of {len(engine.firing_order)} firings, 720 degrees in all"
        )


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
