"""What the rounds of one job have in common: drawn when it is first asked for, then the same for every cylinder."""

from collections.abc import Callable, Hashable
from typing import Any, TypeVar, cast

import numpy as np

T = TypeVar("T")
OF_THE_ENGINE = 0.8
"""Share of a way's deviation that is the engine's; the rest is the cylinder's and the hand's that holds the microphone.
Judgement: ducts and hoses are the same for all cylinders, the way from each to its port is not."""


class Common:
    """Particulars of one engine, shop, tester and microphone. A round drawn alone has a fresh one."""

    def __init__(self) -> None:
        self._drawn: dict[Hashable, Any] = {}

    def once(self, what: Hashable, draw: Callable[[], T]) -> T:
        """The same for all rounds."""
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
