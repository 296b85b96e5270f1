"""Which engine, cylinder and points; what is wrong; who is joined to whom by ducts and open valves; and how much of a
source arrives at points that are not its own: by 1/r2 and reverberation in the open (Sabine's absorption)."""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, TypeVar, cast

import numpy as np

from listen.trade.points import PathId, point
from listen.trade.transfer import OpenValve, valves_open

T = TypeVar("T")
OF_THE_ENGINE = 0.8
"""Share of a way's deviation that is the engine's; the rest is the cylinder's and the hand's that holds the microphone.
Judgement: ducts and hoses are the same for all cylinders, the way from each to its port is not."""


class Common:
    """Particulars of one engine, shop, tester and microphone: drawn when first asked for, kept for later rounds.

    A round drawn alone has a fresh one.
    """

    def __init__(self) -> None:
        self._drawn: dict[Hashable, Any] = {}

    def give(self, what: Hashable, value: object) -> None:
        """Fix what would be drawn; None leaves it to be drawn."""
        if value is not None:
            self._drawn[what] = value

    def once(self, what: Hashable, draw: Callable[[], T]) -> T:
        if what not in self._drawn:
            self._drawn[what] = draw()
        return cast(T, self._drawn[what])

    def near(self, rng: np.random.Generator, what: Hashable, draw: Callable[[], float], spread: float) -> float:
        """The first round's as drawn, every later round's about it."""
        known = what in self._drawn
        first = self.once(what, draw)
        return first + float(rng.normal(0, spread)) if known else first

    def partly(self, rng: np.random.Generator, what: Hashable) -> float:
        """A standard normal deviate that rounds share by ``OF_THE_ENGINE`` of its variance."""
        known = what in self._drawn
        z = self.once(what, rng.standard_normal)
        return float(np.sqrt(OF_THE_ENGINE) * z + np.sqrt(1 - OF_THE_ENGINE) * rng.normal()) if known else float(z)


ORDERS = ((1, 3, 4, 2), (1, 2, 4, 3), (1, 3, 2), (1, 5, 3, 6, 2, 4), (1, 2, 4, 5, 3))
"""Firing orders of inline engines."""
OPTIONAL = {"radiator": 0.7, "plug-hole": 0.45, "breather": 0.15}
"""Share of rounds that walk these points besides the three that every engine has."""


@dataclass(frozen=True, slots=True)
class Layout:
    """One engine with one cylinder under test."""

    order: tuple[int, ...]
    cylinder: int
    points: tuple[str, ...]
    valves: Mapping[int, OpenValve | None]
    breathes_into_intake: bool
    """The crankcase breather is joined to the intake, as on most engines."""
    common: Common = field(default_factory=Common)
    """What other rounds of this engine share."""

    def own(self, source: str) -> list[str]:
        """Points at which a source comes out first."""
        path = PathId.RINGS if source == "blow-by" else PathId(source)
        return [p for p in self.points if path in point(p).row.own]

    def joined(self, source: str, at: str) -> str:
        """How a source reaches a point not its own: ``valve``, ``breather``, ``far`` or ``casting``."""
        neighbour = point(at).neighbour
        side = {"intake-valve": "intake", "exhaust-valve": "exhaust"}.get(source)
        if neighbour is not None and side and self.valves.get(neighbour) in (side, "overlap"):
            return "valve"
        mouth = "intake" if at == "intake" else "exhaust" if at.startswith("tailpipe") else ""
        holes = (self.valves.get(point(p).neighbour or 0) for p in self.points)
        if source == "next-cylinder" and mouth and any(valve in (mouth, "overlap") for valve in holes):
            return "valve"
        ways = ("rings", "intake"), ("blow-by", "intake"), ("intake-valve", "oil-filler"), ("intake-valve", "breather")
        if (source, at) in ways and self.breathes_into_intake:
            return "breather"
        return "far" if at.startswith("tailpipe") or source == "exhaust-valve" else "casting"


def firing_order(rng: np.random.Generator, common: Common) -> tuple[int, ...]:
    return common.once("order", lambda: ORDERS[int(rng.integers(len(ORDERS)))])


def layout(
    rng: np.random.Generator, common: Common, cylinder: int | None = None, points: tuple[str, ...] | None = None
) -> Layout:
    """Draw an engine, and the cylinder and the points walked where they are not given."""
    order = firing_order(rng, common)
    cylinder = cylinder or int(rng.integers(1, len(order) + 1))
    points = points or _walked(rng, common, cylinder, len(order))
    joined = common.once("joined", lambda: bool(rng.random() < 0.65))
    return Layout(order, cylinder, points, valves_open(None, order, cylinder), joined, common)


def _walked(rng: np.random.Generator, common: Common, cylinder: int, last: int) -> tuple[str, ...]:
    points = ["intake", "tailpipe", "oil-filler"]
    for point_id, share in OPTIONAL.items():
        walked = common.once(point_id, rng.random) < share
        if walked and point_id == "plug-hole":
            neighbours = [n for n in (cylinder - 1, cylinder + 1) if 1 <= n <= last]
            points.append(f"plug-hole-{int(rng.choice(neighbours))}")
        elif walked:
            points.append(point_id)
    return tuple(points)


Rates = Mapping[str, float]
"""Base rates: ``none``, ``fitting``, ``set-up``, ``pair``, and each single path by its name; they sum to 1."""


def wrong(rng: np.random.Generator, rates: Rates, points: tuple[str, ...]) -> tuple[PathId, ...]:
    """Draw what is wrong; a path none of whose points is walked is drawn again."""
    own = {path for p in points for path in point(p).row.own}
    singles = [k for k in rates if k in own]
    kinds = [k for k in rates if k in ("none", "fitting", "set-up", "pair") or k in own]
    weight = np.array([rates[k] for k in kinds])
    kind = str(rng.choice(kinds, p=weight / weight.sum()))
    if kind != "pair":
        return (PathId(kind),)
    weight = np.array([rates[k] for k in singles])
    # By the same rates as single ones, and never one twice.
    two = rng.choice(singles, size=2, replace=False, p=weight / weight.sum())
    return tuple(sorted(PathId(str(p)) for p in two))


Spread = tuple[float, float]
"""Mean and standard deviation, dB."""
Carry = Callable[[str, str | None, str], float]
"""(source, its own first point or None, point) -> level there about that at its first point, dB. For a fitting, which
has none, about its nominal level at the plug."""
SAME_MOUTH: Spread = (-3.0, 4.0)
"""At another point of the same space (breather beside oil filler) about the first."""
ONE_MOUTH = ("next-cylinder", "exhaust-valve")
OTHER_MOUTH: Spread = (-13.0, 6.0)
"""A gasket opens to one neighbour, a cylinder breathes into one bank's pipe: at the other hole or pipe from nearly all
(a crossover) to next to nothing (two separate ways)."""
NEAR_PLUG_DB, EVEN_SD_DB = 3.5, 2.0
"""A fitting where it is heard alike everywhere: how much louder at a plug hole, and its scatter."""


@dataclass(frozen=True, slots=True)
class Ways:
    """Losses by kind of connection; each engine has its own deviation besides each pair's."""

    casting: Spread
    breather: Spread
    valve: Spread
    far: Spread
    engine_db: float = 2.0
    in_the_open: bool = True
    """Whether sound also crosses from mouth to mouth through the air of the bay."""
    even_fitting: bool = False
    """Whether a fitting is heard alike everywhere instead of by its distance."""

    def of(self, rng: np.random.Generator, layout: Layout) -> Carry:
        common = layout.common
        whole = common.once("whole", lambda: float(rng.normal(0, self.engine_db)))
        room = common.once("room", lambda: float(np.exp(rng.uniform(*np.log(ABSORPTION_M2)))))
        away = {p: common.once(("away", p), partial(distance_m, rng, p)) for p in layout.points}
        held = {p: float(rng.uniform(*HELD_M)) for p in layout.points}
        # A fitting's level is stated as heard 15 cm away.
        nearest = heard_db(0.15, room)

        def carry(source: str, first: str | None, at: str) -> float:
            if first is None and self.even_fitting:
                return NEAR_PLUG_DB * at.startswith("plug-hole") + float(rng.normal(0, EVEN_SD_DB))
            if first is None:
                return heard_db(away[at], room) - nearest + float(rng.normal(0, 1.5))
            if at == first:
                return 0.0
            if at in layout.own(source):
                mean, sd = OTHER_MOUTH if source in ONE_MOUTH else SAME_MOUTH
                return mean + sd * common.partly(rng, (source, first, at))
            loss: Spread = getattr(self, layout.joined(source, at))
            mean, sd = loss
            through = mean + whole + sd * common.partly(rng, (source, first, at))
            if not self.in_the_open:
                return through
            # Levels are those close to the mouth; across the bay the same source is that much further away.
            apart = abs(away[first] - away[at]) + 0.2
            across = heard_db(apart, room) - heard_db(held[first], room) + float(rng.normal(0, 2))
            return float(10 * np.log10(10 ** (through / 10) + 10 ** (across / 10)))

        return carry


HELD_M = (0.04, 0.12)
"""The microphone's distance from a mouth."""
FROM_PLUG_M: Mapping[str, tuple[float, float]] = {
    "intake": (0.25, 0.7),
    "oil-filler": (0.15, 0.5),
    "breather": (0.2, 0.7),
    "plug-hole": (0.08, 0.25),
    "radiator": (0.4, 1.0),
    "tailpipe": (2.4, 4.5),
}
"""Distance of the points from the plug under test, where adapter, hose and tester's fittings are."""
ABSORPTION_M2 = (15.0, 250.0)
"""A tiled bay with its door shut; a wide hall with the doors open."""


def distance_m(rng: np.random.Generator, at: str) -> float:
    low, high = next(v for k, v in FROM_PLUG_M.items() if at.startswith(k))
    return float(rng.uniform(low, high))


def heard_db(distance_m: float, absorption_m2: float) -> float:
    """Level at a distance about the source's power, dB re 1/m2: direct and reverberant energy together."""
    return float(10 * np.log10(1 / (4 * np.pi * distance_m**2) + 4 / absorption_m2))
