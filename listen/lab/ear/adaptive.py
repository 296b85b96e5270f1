"""Threshold of hearing a hiss: the next level is the one that tells most; a posterior holds what is known.

p(right | x) = g + (1 - g)(1 - lapse) / (1 + exp(-(x - t) / s)), g = 1 / intervals: t the threshold, s the spread in dB,
x the hiss in dB about the background. The level of each trial is the one that leaves the least entropy expected in the
threshold, slope and lapses summed over (Kontsevich & Tyler 1999, the psi method; Prins 2013 for what is summed over).
Four intervals instead of two: guessing helps less, and the same 40 trials hold about twice the information.
"""

from dataclasses import dataclass, field
from functools import cache
from typing import Literal

import msgspec
import numpy as np
from numpy.typing import ArrayLike, NDArray

INTERVALS = 4
"""Clips of one trial, one of which holds the hiss."""
TRIALS = 40
"""Length of a run, about six minutes."""
LEVELS_DB: NDArray[np.float64] = np.arange(-34.0, 19.0, 1.0)
START_DB = 6.0
"""Plainly audible to begin with."""
T_DB: NDArray[np.float64] = np.arange(-40.0, 26.0, 0.5)
"""Thresholds considered; flat prior."""
S_DB: NDArray[np.float64] = np.geomspace(0.7, 5.0, 8)
PRIOR_S_DB, PRIOR_S_LOG_SD = 1.5, 0.35
"""Log-normal prior of the spread, about 1 to 2.5 dB: d' that grows with the hiss' power gives 2.5, steeper ears 1.3.
Set by simulated listeners (spreads 1.0 to 2.5 dB, lapses 0 to 5 %): intervals hold 95 of 100 over all of them."""
LAPSES: NDArray[np.float64] = np.array([0.0, 0.02, 0.05, 0.1, 0.2])
PRIOR_LAPSES: NDArray[np.float64] = np.array([0.3, 0.3, 0.25, 0.1, 0.05])
"""Share of trials lost to inattention: mostly few (Wichmann & Hill 2001)."""
OUTSIDE = 0.05
"""A threshold is given only where so little of it can lie beyond the loudest, or below the faintest, hiss played."""


class Trial(msgspec.Struct, frozen=True):
    level_db: float
    right: bool


class Threshold(msgspec.Struct, frozen=True, kw_only=True):
    threshold_db: float
    """Hiss about the background half way between guessing and always right: posterior mean."""
    low95_db: float
    high95_db: float
    spread_db: float
    trials: int
    sd_db: float = 0.0
    """Posterior standard deviation of the threshold; 0 in runs of older versions, which did not keep it."""
    within: Literal["", "above", "below"] = ""
    """``above``: louder than anything played, or not told from guessing; ``below``: fainter than anything played."""


def share_right(
    level_db: ArrayLike, threshold_db: ArrayLike, spread_db: ArrayLike, lapse: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """Probability of the right interval; arguments broadcast."""
    x, t, s = (np.asarray(v, dtype=np.float64) for v in (level_db, threshold_db, spread_db))
    g = 1.0 / INTERVALS
    # Held at 60 spreads: further out the exponential overflows, and nothing changes.
    rise = 1.0 / (1.0 + np.exp(-np.clip((x - t) / s, -60.0, 60.0)))
    return np.asarray(g + (1.0 - g) * (1.0 - np.asarray(lapse)) * rise)


@cache
def _right() -> NDArray[np.float64]:
    """Share right at every level [shape=(T, X, S * L)]."""
    at = share_right(LEVELS_DB[:, None, None], T_DB[:, None, None, None], S_DB[:, None], LAPSES)
    return at.reshape(len(T_DB), len(LEVELS_DB), -1)


def _prior() -> NDArray[np.float64]:
    slopes = np.exp(-0.5 * (np.log(S_DB / PRIOR_S_DB) / PRIOR_S_LOG_SD) ** 2)
    flat = np.broadcast_to((slopes[:, None] * PRIOR_LAPSES).ravel(), (len(T_DB), len(S_DB) * len(LAPSES)))
    return np.asarray(flat / flat.sum())


def _surprise(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sum of -p ln p over the last axis, nats."""
    # Nought times its logarithm is nought, not a fault.
    return np.asarray(-(p * np.log(np.maximum(p, 1e-300))).sum(axis=-1))


@dataclass(frozen=True, slots=True, eq=False)
class EarRun:
    """The state of a run: ask ``level_db``, go on with ``answered``, until ``done``."""

    weight: NDArray[np.float64] = field(default_factory=_prior)
    """Posterior [shape=(T, S * L)]."""
    trials: tuple[Trial, ...] = ()

    @property
    def done(self) -> bool:
        return len(self.trials) >= TRIALS

    @property
    def level_db(self) -> float:
        """Hiss of the next trial, dB about the background."""
        if not self.trials:
            return START_DB
        both = self.weight.sum(axis=1)
        right = (_right() @ self.weight[:, :, None])[:, :, 0].T  # half the time of einsum
        # Rounding must not make a probability negative.
        wrong = np.maximum(both - right, 0.0)
        answers = np.stack([right.sum(axis=1), wrong.sum(axis=1)], axis=-1)
        # What is left open after the answer: of threshold and answer together, less what the answer itself leaves open.
        left = _surprise(right) + _surprise(wrong) - _surprise(answers)
        return float(LEVELS_DB[int(np.argmin(left))])

    def answered(self, level_db: float, right: bool) -> "EarRun":
        # Bayes: how likely that answer was for every threshold, slope and share of lapses.
        at = share_right(level_db, T_DB[:, None, None], S_DB[:, None], LAPSES).reshape(len(T_DB), -1)
        weight = self.weight * (at if right else 1.0 - at)
        return EarRun(weight / weight.sum(), (*self.trials, Trial(level_db, right)))

    def result(self) -> Threshold:
        over_t = self.weight.sum(axis=1)
        cumulative = np.cumsum(over_t)
        step = T_DB[1] - T_DB[0]
        # The sum up to a threshold is reached at the upper end of its step.
        low, high = (float(np.interp(q, cumulative, T_DB + 0.5 * step)) for q in (0.025, 0.975))
        mean = float(over_t @ T_DB)
        spreads = self.weight.sum(axis=0).reshape(len(S_DB), len(LAPSES)).sum(axis=1)
        within: Literal["", "above", "below"] = ""
        # Beyond what was played nothing was learnt: there only the prior speaks.
        if over_t[LEVELS_DB[-1] <= T_DB].sum() > OUTSIDE:
            within = "above"
        elif over_t[LEVELS_DB[0] >= T_DB].sum() > OUTSIDE:
            within = "below"
        return Threshold(
            threshold_db=round(mean, 2),
            low95_db=round(low, 2),
            high95_db=round(high, 2),
            spread_db=round(float(spreads @ S_DB), 2),
            trials=len(self.trials),
            sd_db=round(float(np.sqrt(over_t @ (T_DB - mean) ** 2)), 2),
            within=within,
        )
