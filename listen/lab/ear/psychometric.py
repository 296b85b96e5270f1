"""Threshold of hearing a hiss, from two-interval trials: a posterior over threshold and slope on a grid.

p(right | x) = 1/2 + (1/2 - lapse) * logistic((x - t) / s): t the threshold (75 % right without lapses), s the spread in
dB, x the hiss in dB about the background. Wichmann & Hill 2001 for lapses; Kontsevich & Tyler 1999 for the grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import msgspec
import numpy as np
from numpy.typing import ArrayLike, NDArray

T_DB: NDArray[np.float64] = np.arange(-40.0, 25.0, 0.25)
"""Thresholds considered, dB about the background; flat prior."""
S_DB: NDArray[np.float64] = np.geomspace(0.4, 4.0, 12)
"""Spreads considered; noise-in-noise detection slopes lie about 1-2 dB (log-normal prior about 1.3 dB)."""
PRIOR_S_DB = 1.3
PRIOR_S_LOG_SD = 0.6
LAPSE = 0.02
"""Share of trials lost to inattention."""


class Trial(msgspec.Struct, frozen=True):
    """One answered trial."""

    level_db: float
    right: bool


class Threshold(msgspec.Struct, frozen=True, kw_only=True):
    """A measured threshold."""

    threshold_db: float
    """Hiss about the background at 75 % right: posterior mean."""
    low95_db: float
    high95_db: float
    spread_db: float
    """Posterior mean of s."""
    trials: int
    reversals: int = 0


@cache
def _log_prior() -> NDArray[np.float64]:
    slopes = -0.5 * (np.log(S_DB / PRIOR_S_DB) / PRIOR_S_LOG_SD) ** 2
    grid: NDArray[np.float64] = np.broadcast_to(slopes, (len(T_DB), len(S_DB)))
    return grid


def share_right(level_db: ArrayLike, threshold_db: ArrayLike, spread_db: ArrayLike) -> NDArray[np.float64]:
    """Probability of the right interval."""
    x, t, s = (np.asarray(v, dtype=np.float64) for v in (level_db, threshold_db, spread_db))
    z = (x - t) / s
    return np.asarray(0.5 + (0.5 - LAPSE) / (1 + np.exp(-np.clip(z, -60, 60))))


def fit(trials: Sequence[Trial], reversals: int = 0) -> Threshold:
    """Posterior over the threshold given all trials (the prior alone where there are none)."""
    log_p = _log_prior().copy()
    for trial in trials:
        p = share_right(trial.level_db, T_DB[:, None], S_DB[None, :])
        log_p += np.log(p if trial.right else 1 - p)
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    over_t = weight.sum(axis=1)
    cumulative = np.cumsum(over_t)
    low, high = (float(np.interp(q, cumulative, T_DB)) for q in (0.025, 0.975))
    return Threshold(
        threshold_db=round(float(over_t @ T_DB), 2),
        low95_db=round(low, 2),
        high95_db=round(high, 2),
        spread_db=round(float(weight.sum(axis=0) @ S_DB), 2),
        trials=len(trials),
        reversals=reversals,
    )
