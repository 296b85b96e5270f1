"""A peer at its best: threshold, temperature and where silence stands, fitted by the bench on rounds held apart.

Symbols: x_p the peer's number for path p, T the temperature; odds are softmax(x_p / T). "Sound", "fitting" and
"set-up", which no single point speaks of, stand at fitted numbers of their own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.forecast import ALL_PATHS, SOUND, Forecast, earned

Numbers = Mapping[str, float]
FIXED = (SOUND, "fitting", "set-up")
NOT_HEARD = -1e6
"""Stands for a path whose point was not recorded: no odds at any temperature."""
LEAST_LOG = -20.0
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
    temperature: float
    fixed: Mapping[str, float]
    """Where what no point speaks of stands among the numbers: sound, fitting, set-up."""

    def odds(self, x: Numbers) -> dict[str, float]:
        """Probabilities, summing to 1."""
        stands = {**self.fixed, **x}
        z = np.array(list(stands.values())) / self.temperature
        p = np.exp(z - z.max())
        return {name: float(v) for name, v in zip(stands, p / p.sum(), strict=True)}

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
    x, y = _tables(peer, cases)
    spread = float(np.std(tops)) + 1e-3

    def loss(v: NDArray[np.float64]) -> float:
        z = np.concatenate([np.broadcast_to(v[1:], (len(x), len(FIXED))), x], axis=1) / _temperature(v)
        top = z.max(axis=1, keepdims=True)
        log_p = z - top - np.log(np.exp(z - top).sum(axis=1, keepdims=True))
        return float(-(y * np.maximum(log_p, LEAST_LOG)).sum())

    tries = []
    for s in STARTS:
        start = [np.log(s * spread), threshold, threshold - spread, threshold - spread]
        tries.append(minimize(loss, start, method="Nelder-Mead", options={"maxiter": 2000}))
    best = min(tries, key=lambda r: r.fun).x
    fixed = {p: float(v) for p, v in zip(FIXED, best[1:], strict=True)}
    return Fitted(peer, threshold, _temperature(best), fixed)


def _temperature(v: NDArray[np.float64]) -> float:
    return float(np.exp(np.clip(v[0], -12.0, 12.0)))


def _tables(peer: str, cases: Sequence[Case]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Numbers of the paths heard, NOT_HEARD where one was not, and truth over all columns [shape=(n, 3 + paths)]."""
    paths = [p for p in ALL_PATHS if p not in FIXED]
    x = np.array([[c.numbers[peer].get(p, NOT_HEARD) for p in paths] for c in cases])
    y = np.array([[(p in c.truth) / len(c.truth) for p in (*FIXED, *paths)] for c in cases])
    return x, y
