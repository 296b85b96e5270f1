"""How much the shop's sound moves from clip to clip: a stated prior, sharpened by every repeat the round holds.

Three unknowns, kept as a grid of scenarios with probabilities: kappa, by how much blocks inside a clip understate
the scatter between clips (sound that wanders slowly); sigma_c, a level drift common to all bands; sigma_s, a drift
smooth over frequency. Beyond the drift no clip length helps (Tandra & Sahai 2008), so it enters every variance.
Intervals and odds are mixtures over the scenarios, which gives them the heavy tails that few repeats deserve.

Symbols: G scenarios, B bands; sigma in nepers of power (1 dB = 0.230); scatter of the log ratio of two groups is
kappa C + (spread) (sigma_c^2 J + sigma_s^2 S), J all ones, S smooth over frequency, C from blocks inside the clips.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import CENTRES_HZ

NEPER_PER_DB = np.log(10.0) / 10.0
"""Natural log of power per decibel."""
KAPPA = (1.0, 2.0, 4.0, 9.0)
KAPPA_PRIOR = (0.45, 0.2, 0.2, 0.15)
COMMON_DB = (0.0, 0.08, 0.16, 0.32, 0.64, 1.3, 2.6)
SMOOTH_DB = (0.0, 0.1, 0.25, 0.6, 1.5)
"""Grids of the three unknowns."""
STEADY_PRIOR = 0.3
"""Prior share of shops with no level drift at all between two clips; as much again for no drift of colour."""
COMMON_MEDIAN_DB = 0.4
SMOOTH_MEDIAN_DB = 0.15
PRIOR_SPREAD = 0.8
"""Log-normal priors where there is drift: medians, and spread of the natural log."""
SMOOTH_OCTAVES = 1.0
"""Correlation length over frequency of the drift of colour."""
MIN_WEIGHT = 2e-3
"""Scenarios less probable than this are left out. They hold the tails: at 1e-2 the log loss of the accuracy bench's
tuning rounds is 2 % higher, at 5e-4 nothing is gained any more."""


@cache
def smooth_correlation() -> NDArray[np.float64]:
    """Correlation over bands of the drift of colour [shape=(13, 13)]."""
    octaves = np.log2(CENTRES_HZ)
    return np.asarray(np.exp(-np.abs(octaves[:, None] - octaves) / SMOOTH_OCTAVES))


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Scenarios and their probabilities."""

    kappa: NDArray[np.float64]
    """[shape=(G,)]."""
    common: NDArray[np.float64]
    """sigma_c, nepers [shape=(G,)]."""
    smooth: NDArray[np.float64]
    """sigma_s, nepers [shape=(G,)]."""
    weight: NDArray[np.float64]
    """Probabilities [shape=(G,)], sum 1."""
    repeats: int
    """Pairs of repeats behind it; 0: the prior alone."""

    @property
    def rms_db(self) -> float:
        """Root mean square drift of one take's level, dB."""
        return float(np.sqrt((self.weight * (self.common**2 + self.smooth**2)).sum()) / NEPER_PER_DB)

    def cov(self, live: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Covariance of one take's log band powers under each scenario [shape=(G, B, B)]."""
        # The common drift is one number for all bands, that of colour is alike in neighbours only.
        s = smooth_correlation()[np.ix_(live, live)]
        return np.asarray(self.common[:, None, None] ** 2 + self.smooth[:, None, None] ** 2 * s)


@dataclass(frozen=True, slots=True, eq=False)
class Repeat:
    """Two groups of takes that should be alike but for drift."""

    rho: NDArray[np.float64]
    """Log ratio of their band powers [shape=(B,)]."""
    cov: NDArray[np.float64]
    """Its covariance from blocks inside the clips [shape=(B, B)]."""
    spread: float
    """Sum over both groups of squared weights of their takes."""
    live: NDArray[np.bool_]
    """Which of the thirteen bands these are."""


def _log_normal(grid_db: Sequence[float], median_db: float) -> NDArray[np.float64]:
    # The first step is no drift at all, which no log-normal reaches: it has a share of its own.
    grid = np.array(grid_db[1:])
    w = np.exp(-0.5 * (np.log(grid / median_db) / PRIOR_SPREAD) ** 2)
    return np.array([STEADY_PRIOR, *((1.0 - STEADY_PRIOR) * w / w.sum())])


def prior() -> Drift:
    """The scenarios with their prior probabilities."""
    kappa, common, smooth = np.meshgrid(KAPPA, COMMON_DB, SMOOTH_DB, indexing="ij")
    w = (
        np.array(KAPPA_PRIOR)[:, None, None]
        * _log_normal(COMMON_DB, COMMON_MEDIAN_DB)[:, None]
        * _log_normal(SMOOTH_DB, SMOOTH_MEDIAN_DB)
    )
    return Drift(kappa.ravel(), common.ravel() * NEPER_PER_DB, smooth.ravel() * NEPER_PER_DB, w.ravel() / w.sum(), 0)


def stated(sigma_db: float) -> Drift:
    """A drift that is known, for example 0 for a shop stated to be steady."""
    # One scenario: nothing about it is unknown.
    return Drift(np.ones(1), np.array([sigma_db * NEPER_PER_DB]), np.zeros(1), np.ones(1), 0)


def estimate(repeats: Sequence[Repeat]) -> Drift:
    """Posterior over the scenarios from repeats anywhere in the round; unlikely scenarios are dropped."""
    start = prior()
    log_w = np.log(start.weight)
    for r in repeats:
        total = start.kappa[:, None, None] * r.cov + r.spread * start.cov(r.live)
        # Each repeat is independent of those before it (see signal.contrast.repeats): the likelihoods multiply.
        log_w += log_density(r.rho[None, :], total)[:, 0]
    # The largest is taken out first: many repeats make every likelihood small beyond a double.
    w = np.exp(log_w - log_w.max())
    w /= w.sum()
    keep = w >= MIN_WEIGHT
    return Drift(start.kappa[keep], start.common[keep], start.smooth[keep], w[keep] / w[keep].sum(), len(repeats))


@dataclass(frozen=True, slots=True, eq=False)
class RoundDrift:
    """Drift of a round, as its mean powers and as its floors show it."""

    means: Drift
    floors: Drift


RIDGE = 1e-10
"""Part of each variance added to it, so that variables which only ever move together still have a density."""


# SciPy's triangular solver takes one matrix a call and NumPy has none, so the substitution is written out: one step a
# variable, each over all matrices together. A third of the time of inverses and determinants.
def log_density(x: NDArray[np.float64], cov: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log density of each ``x`` about zero, less the constant of 2 pi [shape=(..., S)].

    Parameters
    ----------
    x
        S variates of B variables for each matrix [shape=(..., S, B)]; leading dimensions broadcast against ``cov``'s.
    cov
        Covariances, symmetric and positive semidefinite [shape=(..., B, B)].

    Raises numpy.linalg.LinAlgError: a matrix is not positive semidefinite."""
    bands = cov.shape[-1]
    lead = np.broadcast_shapes(x.shape[:-2], cov.shape[:-2])
    # One factor gives the determinant and the quadratic form; it fails on what is no covariance, where an inverse would
    # give a number.
    factor = np.linalg.cholesky(cov + RIDGE * (cov * np.eye(bands)))
    half_log_det = np.log(np.diagonal(factor, axis1=-2, axis2=-1)).sum(axis=-1)
    row = np.ascontiguousarray(np.moveaxis(factor, (-2, -1), (0, 1)))[:, :, None]  # (B, B, 1, ...)
    # Bands first: each step below is then one operation over all that lies behind.
    z = np.empty((bands, x.shape[-2], *lead))
    z[:] = np.moveaxis(x, (-1, -2), (0, 1)).reshape(bands, x.shape[-2], *(1,) * (len(lead) - x.ndim + 2), *x.shape[:-2])
    for i in range(bands):
        z[i] /= row[i, i]
        z[i + 1 :] -= row[i + 1 :, i] * z[i]
    chi2 = np.moveaxis(np.einsum("bs...,bs...->s...", z, z), 0, -1)
    return np.asarray(-0.5 * chi2 - half_log_det[..., None])
