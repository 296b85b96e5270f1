"""How much of a source arrives at points that are not its own: through ducts, valves, castings and the open;
there by 1/r2 and reverberation (Sabine's absorption)."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from listen.lab.simulator.worlds.layout import Layout

Spread = tuple[float, float]
"""Mean and standard deviation, dB."""
Carry = Callable[[str, str | None, str], float]
"""(source, its own first point or None, point) -> level there about that at its first point, dB. For a fitting, which
has none, about its nominal level at the plug."""
SAME_MOUTH: Spread = (-3.0, 4.0)
"""At another point of the same space (breather beside oil filler) about the first."""


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

    def of(self, rng: np.random.Generator, layout: Layout) -> Carry:
        common = layout.common
        whole = common.once("whole", lambda: float(rng.normal(0, self.engine_db)))
        room = common.once("room", lambda: float(np.exp(rng.uniform(*np.log(ABSORPTION_M2)))))
        away = {p: common.once(("away", p), partial(distance_m, rng, p)) for p in layout.points}
        held = {p: float(rng.uniform(*HELD_M)) for p in layout.points}
        nearest = heard_db(0.15, room)

        def carry(source: str, first: str | None, at: str) -> float:
            if first is None:
                return heard_db(away[at], room) - nearest + float(rng.normal(0, 1.5))
            if at == first:
                return 0.0
            if at in layout.own(source):
                return SAME_MOUTH[0] + SAME_MOUTH[1] * common.partly(rng, (source, first, at))
            mean, sd = self._loss(layout.joined(source, at))
            through = mean + whole + sd * common.partly(rng, (source, first, at))
            if not self.in_the_open:
                return through
            apart = max(0.15, abs(away[first] - away[at]) + 0.2)
            across = heard_db(apart, room) - heard_db(held[first], room) + float(rng.normal(0, 2))
            return float(10 * np.log10(10 ** (through / 10) + 10 ** (across / 10)))

        return carry

    def _loss(self, way: str) -> Spread:
        return {"casting": self.casting, "breather": self.breather, "valve": self.valve, "far": self.far}[way]


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
