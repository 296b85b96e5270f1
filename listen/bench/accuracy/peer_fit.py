"""A peer at its best: threshold, temperature and shares of what it cannot hear, fitted on rounds held apart.

Symbols: x_p the peer's number for path p, t the threshold, T the temperature; odds are softmax((x_p) / T) with "sound"
standing at t / T, and fixed shares for "fitting" and "set-up", which no single point speaks of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from listen.bench.accuracy.forecast import SOUND, Forecast, earned

Numbers = Mapping[str, float]
NOT_HEARD = ("fitting", "set-up")
LEAST_SHARE = 0.005
STARTS = (0.3, 1.0, 3.0)
"""Temperatures the fit starts from, as parts of the numbers' spread."""


@dataclass(frozen=True, slots=True)
class Case:
    """One round as peers see it."""

    truth: frozenset[str]
    numbers: Mapping[str, Numbers]
    """By peer, each path's number."""
    background: str


@dataclass(frozen=True, slots=True)
class Fitted:
    """A peer ready to be scored."""

    peer: str
    threshold: float
    """Best for the script that always answers, in its own unit."""
    sound: float
    """Where "sound" stands among the numbers."""
    temperature: float
    aside: Mapping[str, float]
    """Fixed shares of what the peer cannot hear."""

    def odds(self, x: Numbers) -> dict[str, float]:
        """Probabilities, summing to 1."""
        names = [SOUND, *x]
        z = np.array([self.sound, *x.values()]) / self.temperature
        p = np.exp(z - z.max())
        left = 1.0 - sum(self.aside.values())
        return {**{n: float(v) for n, v in zip(names, left * p / p.sum(), strict=True)}, **self.aside}

    def scripted(self, x: Numbers) -> str:
        """The script's one answer."""
        return _scripted(x, self.threshold)

    def forecast(self, case: Case, *, always: bool = False) -> Forecast:
        """What the peer says of a round; ``always``: as scripted, without the right to say nothing."""
        x = case.numbers[self.peer]
        p = self.odds(x)
        return Forecast(case.truth, p, p, (self.scripted(x),) if always else earned(p), case.background)


def _scripted(x: Numbers, threshold: float) -> str:
    best = max(x, key=lambda p: x[p], default=SOUND)
    return best if best != SOUND and x[best] > threshold else SOUND


def fit(peer: str, cases: Sequence[Case]) -> Fitted:
    """Best threshold by right calls, and temperature by log loss, on ``cases``."""
    from scipy.optimize import minimize

    tops = sorted(max(c.numbers[peer].values(), default=0.0) for c in cases)
    hits = [sum(_scripted(c.numbers[peer], t) in c.truth for c in cases) for t in tops]
    threshold = tops[int(np.argmax(hits))]
    count = {p: sum(p in c.truth for c in cases) / len(cases) for p in NOT_HEARD}
    aside = {p: max(share, LEAST_SHARE) for p, share in count.items()}
    spread = float(np.std(tops)) + 1e-3

    def made(v: np.ndarray) -> Fitted:
        return Fitted(peer, threshold, float(v[0]), float(np.exp(np.clip(v[1], -12, 12))), aside)

    def loss(v: np.ndarray) -> float:
        fitted = made(v)
        total = 0.0
        for c in cases:
            p = fitted.odds(c.numbers[peer])
            total -= sum(np.log(max(p.get(t, 0.0), 1e-9)) for t in c.truth) / len(c.truth)
        return total

    tries = [minimize(loss, [threshold, np.log(s * spread)], method="Nelder-Mead") for s in STARTS]
    return made(min(tries, key=lambda r: r.fun).x)
