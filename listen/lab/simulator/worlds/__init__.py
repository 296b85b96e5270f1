"""Worlds that differ in structure, one small file each; the bench reports every one by itself."""

from typing import Protocol

import numpy as np

from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.worlds.about_shop import WORLD as SHOP
from listen.lab.simulator.worlds.bay import WORLD as BAY
from listen.lab.simulator.worlds.flow import WORLD as FLOW
from listen.lab.simulator.worlds.mouth import WORLD as MOUTH
from listen.lab.simulator.worlds.pipes import WORLD as PIPES
from listen.lab.simulator.worlds.pocket import WORLD as POCKET
from listen.lab.simulator.worlds.restless import WORLD as RESTLESS
from listen.lab.simulator.worlds.worn import WORLD as WORN


class Drawn(Protocol):
    """What every world offers."""

    @property
    def name(self) -> str:
        """One word."""

    @property
    def differs(self) -> str:
        """In one sentence, what is different there."""

    def draw(self, rng: np.random.Generator, name: str = "") -> RoundSpec:
        """Draw one round."""

    def job(self, rng: np.random.Generator, rounds: int, name: str = "") -> tuple[RoundSpec, ...]:
        """Draw at most so many rounds of one engine, a cylinder each, in one shop with one microphone."""


_ALL: tuple[Drawn, ...] = (SHOP, FLOW, MOUTH, BAY, PIPES, RESTLESS, WORN, POCKET)
WORLDS: dict[str, Drawn] = {w.name: w for w in _ALL}
"""By name."""
