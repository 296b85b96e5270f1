"""World: loud about the shop. Levels and cross-talk are stated over the noise at the point, alike in every shop."""

from dataclasses import dataclass

import msgspec
import numpy as np

from listen.lab.simulator.draw import ORDERS, Wishes, draw
from listen.lab.simulator.families import POPULATIONS
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.shops import one_machine

BLOW_BY_DB = 2.5
"""Spread of blow-by between cylinders of one engine. Judgement; the other worlds' holes and levels give 1.6 to 8."""


@dataclass(frozen=True, slots=True)
class AboutShop:
    """The rounds of the drills, from both of their populations."""

    name: str = "shop"
    differs: str = "Levels are stated over the noise at the point, drift is each clip's own, losses are drawn by cause."

    def draw(self, rng: np.random.Generator, name: str = "") -> RoundSpec:
        """Draw one round."""
        population = str(rng.choice(POPULATIONS))
        spec = draw(rng, population, sound_clips=bool(rng.random() < 0.5), name=name or self.name)
        background = msgspec.structs.replace(spec.background, parts=one_machine(rng, spec.background.parts))
        return msgspec.structs.replace(spec, population=self.name, background=background)

    def job(self, rng: np.random.Generator, rounds: int, name: str = "") -> tuple[RoundSpec, ...]:
        """Draw rounds that share shop, microphone, firing order and, but for ``BLOW_BY_DB``, blow-by; nothing else."""
        population, sound = str(rng.choice(POPULATIONS)), bool(rng.random() < 0.5)
        order = ORDERS[int(rng.integers(len(ORDERS)))]
        first = draw(
            rng, population, sound_clips=sound, wishes=Wishes(firing_order=order, cylinder=1), name=f"{name}-1"
        )
        parts = one_machine(rng, first.background.parts)
        background = msgspec.structs.replace(first.background, parts=parts)
        found = [first]
        for n in range(2, min(rounds, len(order)) + 1):
            blow_by = first.truth.blow_by_db + float(rng.normal(0, BLOW_BY_DB))
            wishes = Wishes(firing_order=order, cylinder=n, blow_by_db=round(blow_by, 2))
            found.append(draw(rng, population, sound_clips=sound, wishes=wishes, name=f"{name}-{n}"))
        shared = {"population": self.name, "background": background, "microphone": first.microphone}
        return tuple(msgspec.structs.replace(spec, **shared) for spec in found)
