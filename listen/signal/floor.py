"""The floor of an unsteady background: a low quantile over frames, freed of its chi-square bias.

A steady hiss lifts the floor of every gap between words and knocks; there the floor beats the mean by far, and in
steady noise it loses to it (METHOD section 2).
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

QUANTILE = 0.25
"""Low enough for the gaps of speech, high enough to be estimated from 4 s (prototype benchmark, METHOD section 6)."""
Z_QUANTILE = -0.674490
"""Standard normal quantile at 0.25."""
MAX_BLOCKS = 24
"""More blocks than this add cost and no degrees of freedom worth having."""
HANN_POWER_CORRELATION = (1.0, 4.0 / 9.0, 1.0 / 36.0)
"""Correlation of periodogram ordinates 0, 1, 2 bins apart under a Hann window (Percival & Walden 1993)."""


def degrees_of_freedom(weights: NDArray[np.float32]) -> NDArray[np.float64]:
    """Chi-square degrees of freedom of one frame's band power [shape=(B,)] for bin weights [shape=(K, B)]."""
    w = weights.astype(np.float64)
    total = w.sum(axis=0)
    spread = sum(
        (2.0 if lag else 1.0) * c * (w[lag:] * w[: len(w) - lag]).sum(axis=0)
        for lag, c in enumerate(HANN_POWER_CORRELATION)
    )
    return np.asarray(2.0 * total**2 / np.maximum(spread, 1e-12))


def quantile_bias(nu: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quantile over mean of a chi-square with ``nu`` degrees of freedom (Wilson & Hilferty 1931)."""
    a = 2.0 / (9.0 * np.maximum(nu, 2.0))
    return np.asarray((1.0 - a + Z_QUANTILE * np.sqrt(a)) ** 3)


def floor_power(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Low quantile over frames [shape=(B,)] of band power [shape=(T, B)], bias not yet removed."""
    return _low_quantile(np.ascontiguousarray(power.T))


def _low_quantile(by_band: NDArray[np.float64]) -> NDArray[np.float64]:
    """Low quantile of each row. NumPy sorts whole rows of doubles faster than it picks one rank of a column."""
    k = QUANTILE * (by_band.shape[1] - 1)
    low, high = int(np.floor(k)), int(np.ceil(k))
    rising = np.sort(by_band, axis=1)
    return np.asarray(rising[:, low] + (k - low) * (rising[:, high] - rising[:, low]))


def jackknife_log_floor(power: NDArray[np.float64], blocks: int) -> NDArray[np.float64]:
    """Covariance over bands [shape=(B, B)] of the log floor, by leaving out one block of frames at a time."""
    blocks = min(blocks, MAX_BLOCKS)
    edges = np.linspace(0, len(power), blocks + 1).astype(int)
    by_band = np.ascontiguousarray(power.T)
    floors = [_low_quantile(np.delete(by_band, slice(a, b), axis=1)) for a, b in pairwise(edges)]
    logs = np.log(np.maximum(np.stack(floors), 1e-30))
    centred = logs - logs.mean(axis=0)
    return np.asarray((blocks - 1) / blocks * centred.T @ centred)
