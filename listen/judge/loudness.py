"""How likely each hiss level is at one point, given the contrast of its air and quiet clips.

Symbols: N levels (dB, whitened: mean over bands of hiss over background), S templates, B bands, G drift values.
rho_b ~ Normal(ln(1 + s_b), C + sigma^2 D + U K U), s the template's hiss over background, C from blocks inside the
clips, D the drift, K the template's error, U = diag(s / (1 + s)). Templates and drift are summed over.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from listen.judge.shapes import error_cov, templates_db
from listen.signal.contrast import Contrast
from listen.signal.drift import Drift, band_correlation

LEVELS_DB: NDArray[np.float64] = np.arange(-30.0, 37.0, 1.5)
"""Levels considered; the lowest is as good as silence."""
MIN_WEIGHT = 1e-3
"""Drift values less probable than this are left out."""


def log_likelihood(
    contrast: Contrast, live: NDArray[np.bool_], drift: Drift, floor_share: float = 0.0
) -> NDArray[np.float64]:
    """Log likelihood of each level about that of silence [shape=(N,)].

    ``live`` [shape=(13,)] says which bands the contrast holds; ``floor_share`` how far the floors are believed instead
    of the means.
    """
    out = np.zeros(len(LEVELS_DB))
    if floor_share < 1.0:
        cov = contrast.quiet.cov + contrast.air.cov
        out += (1.0 - floor_share) * _levels(contrast.rho, cov, contrast.quiet.mean, contrast, live, drift)
    if floor_share > 0.0:
        cov = contrast.quiet.floor_cov + contrast.air.floor_cov
        lift = contrast.quiet.floor / contrast.quiet.mean
        out += floor_share * _levels(contrast.rho_floor, cov, contrast.quiet.mean, contrast, live, drift, lift)
    return np.asarray(out - out[0])


def _levels(
    rho: NDArray[np.float64],
    cov: NDArray[np.float64],
    background: NDArray[np.float64],
    contrast: Contrast,
    live: NDArray[np.bool_],
    drift: Drift,
    lift: NDArray[np.float64] | float = 1.0,
) -> NDArray[np.float64]:
    shape = 10.0 ** (templates_db()[:, live] / 10.0) / background
    shape /= shape.mean(axis=1, keepdims=True)
    s = 10.0 ** (LEVELS_DB[:, None, None] / 10.0) * shape / lift
    share = (s / (1.0 + s)).mean(axis=1)
    sub = np.ix_(live, live)
    use = drift.weight > MIN_WEIGHT
    drift_cov = contrast.drift_cov(band_correlation()[sub])
    total = (
        cov
        + drift.sigma[use, None, None, None] ** 2 * drift_cov
        + share[:, :, None] * share[:, None, :] * error_cov()[sub]
    )
    inverse = np.linalg.inv(total)
    logdet = np.linalg.slogdet(total)[1]
    miss = rho - np.log1p(s)
    chi2 = np.einsum("gnsb,nsb->gns", miss @ inverse, miss)
    log_p = np.log(drift.weight[use])[:, None, None] - 0.5 * (chi2 + logdet[:, :, None])
    return np.asarray(np.logaddexp.reduce(np.logaddexp.reduce(log_p, axis=2), axis=0) - np.log(s.shape[1]))
