"""How much of a source arrives at points that are not its own: through ducts, valves, castings and the open."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from listen.lab.simulator.worlds.layout import Layout
from listen.lab.simulator.worlds.room import ABSORPTION_M2, HELD_M, distance_m, heard_db

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
        """Draw one engine's losses."""
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
