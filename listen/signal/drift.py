"""How much the shop's level moves from clip to clip: a stated prior, sharpened by every repeat the round holds.

Symbols: sigma, standard deviation of a take's level about the point's mean, in nepers of power (1 dB = 0.230).
Beyond the drift no clip length helps (Tandra & Sahai 2008), so it enters every variance, with its covariance over
bands. The unknown sigma is kept as a grid of values with probabilities: intervals and odds are mixtures over it, which
gives them the heavy tails that few repeats deserve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import CENTRES_HZ

NEPER_PER_DB = np.log(10.0) / 10.0
"""Natural log of power per decibel."""
GRID_DB: NDArray[np.float64] = np.array([0.0, 0.05, 0.1, 0.2, 0.35, 0.6, 1.0, 1.8, 3.2])
"""Values of sigma considered, dB."""
STEADY_PRIOR = 0.3
"""Prior share of shops that do not drift at all between two clips."""
PRIOR_MEDIAN_DB = 0.25
PRIOR_SPREAD = 0.8
"""Log-normal prior of sigma where the shop drifts: median 0.25 dB, 95 % within 0.05 to 1.2 dB."""
COMMON_SHARE = 0.6
"""Share of drift variance common to all bands; the rest is smooth over frequency."""
SMOOTH_OCTAVES = 1.0
"""Correlation length over frequency of the rest."""


def band_correlation() -> NDArray[np.float64]:
    """Correlation of drift over bands [shape=(B, B)]."""
    octaves = np.log2(CENTRES_HZ)
    smooth = np.exp(-np.abs(octaves[:, None] - octaves) / SMOOTH_OCTAVES)
    return np.asarray(COMMON_SHARE + (1.0 - COMMON_SHARE) * smooth)


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Probabilities over sigma."""

    sigma: NDArray[np.float64]
    """Values, in nepers [shape=(G,)]."""
    weight: NDArray[np.float64]
    """Their probabilities [shape=(G,)]."""
    repeats: int
    """Degrees of freedom of the repeats behind it; 0: the prior alone."""

    @property
    def rms_db(self) -> float:
        """Root mean square of sigma, dB."""
        return float(np.sqrt((self.weight * self.sigma**2).sum()) / NEPER_PER_DB)


@dataclass(frozen=True, slots=True, eq=False)
class Repeats:
    """Levels of takes that differ by drift and noise only."""

    level: NDArray[np.float64]
    """Whitened log level of each take, nepers [shape=(m,)]."""
    variance: NDArray[np.float64]
    """Variance of each level from blocks inside its clip [shape=(m,)]."""


def prior() -> NDArray[np.float64]:
    """Prior probabilities over ``GRID_DB`` [shape=(G,)]."""
    w = np.zeros(len(GRID_DB))
    w[1:] = np.exp(-0.5 * (np.log(GRID_DB[1:] / PRIOR_MEDIAN_DB) / PRIOR_SPREAD) ** 2)
    w[1:] *= np.gradient(np.log(GRID_DB[1:]))
    w *= (1.0 - STEADY_PRIOR) / w.sum()
    w[0] = STEADY_PRIOR
    return w


def stated(sigma_db: float) -> Drift:
    """A drift that is known, for example 0 for a shop stated to be steady."""
    return Drift(np.array([sigma_db * NEPER_PER_DB]), np.ones(1), 0)


def estimate(groups: Sequence[Repeats], share: float = 1.0) -> Drift:
    """Posterior over sigma from groups of repeats, each with its own unknown mean.

    ``share`` is the variance of a whitened level per unit sigma squared (bands do not all move together).
    """
    sigma = GRID_DB * NEPER_PER_DB
    log_w = np.log(np.maximum(prior(), 1e-300))
    repeats = 0
    for g in groups:
        if len(g.level) < 2:
            continue
        repeats += len(g.level) - 1
        precision = 1.0 / (g.variance[:, None] + share * sigma**2)
        total = precision.sum(axis=0)
        mean = (precision * g.level[:, None]).sum(axis=0) / total
        chi2 = (precision * (g.level[:, None] - mean) ** 2).sum(axis=0)
        log_w += 0.5 * (np.log(precision).sum(axis=0) - np.log(total) - chi2)
    w = np.exp(log_w - log_w.max())
    return Drift(sigma, w / w.sum(), repeats)
