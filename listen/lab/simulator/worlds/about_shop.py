"""World: loud about the shop. Levels and cross-talk are stated over the noise at the point, alike in every shop."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec
import numpy as np

from listen.lab.simulator.draw import draw
from listen.lab.simulator.families import POPULATIONS
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.shops import one_machine


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


WORLD = AboutShop()
