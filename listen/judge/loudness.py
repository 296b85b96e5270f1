"""How likely each hiss level is at one point, given the contrast of its air and quiet clips.

Symbols: N levels (dB, whitened: mean over bands of hiss over background), S templates, B bands, G drift values.
rho_b ~ Normal(ln(1 + s_b), C + sigma^2 D + U K U), s the template's hiss over background, C from blocks inside the
clips, D the drift, K the template's error, U = diag(s / (1 + s)). Templates and drift are summed over.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from listen.judge.log_sum import log_sum
from listen.judge.shapes import error_cov, templates_db
from listen.signal.contrast import Contrast
from listen.signal.drift import Drift, RoundDrift
from listen.signal.gaussian import log_density

LEVELS_DB: NDArray[np.float64] = np.arange(-25.5, 63.0, 1.5)
"""Levels considered; the lowest is as good as silence (0.01 dB of excess), the highest a jet at arm's length in a quiet
room. A louder one than the grid holds would be taken for a leak that is alike everywhere."""


LOOK_WEIGHT = 0.5
"""Means and floors are two looks at the same sound: each counts half. Better than either alone, than their full
product, and than choosing by their variance (accuracy bench, tuning rounds)."""


def log_likelihood(contrast: Contrast, live: NDArray[np.bool_], drift: RoundDrift) -> NDArray[np.float64]:
    """Log likelihood of each level about that of silence [shape=(N,)]; ``live`` [shape=(13,)] says which bands."""
    means = _levels(contrast.rho, contrast.quiet.cov + contrast.air.cov, contrast, live, drift.means)
    floor_cov = contrast.quiet.floor_cov + contrast.air.floor_cov
    lift = contrast.quiet.floor / contrast.quiet.mean
    floors = _levels(contrast.rho_floor, floor_cov, contrast, live, drift.floors, lift)
    out = LOOK_WEIGHT * (means + floors)
    return np.asarray(out - out[0])


def _levels(
    rho: NDArray[np.float64],
    cov: NDArray[np.float64],
    contrast: Contrast,
    live: NDArray[np.bool_],
    drift: Drift,
    lift: NDArray[np.float64] | float = 1.0,
) -> NDArray[np.float64]:
    shape = 10.0 ** (templates_db()[:, live] / 10.0) / contrast.quiet.mean
    shape /= shape.mean(axis=1, keepdims=True)
    s = 10.0 ** (LEVELS_DB[:, None, None] / 10.0) * shape / lift
    share = (s / (1.0 + s)).mean(axis=1)
    error = _level_kept(error_cov()[np.ix_(live, live)], rho, cov, shape.mean(axis=0))
    scatter = drift.kappa[:, None, None] * cov + contrast.drift_share * drift.cov(live)
    total = scatter[:, None] + share[:, :, None] * share[:, None, :] * error
    miss = rho - np.log1p(s)
    log_p = np.log(drift.weight)[:, None, None] + log_density(miss, total)
    return np.asarray(log_sum(log_sum(log_p, axis=2), axis=0) - np.log(s.shape[1]))


def _level_kept(
    error: NDArray[np.float64], rho: NDArray[np.float64], cov: NDArray[np.float64], shape: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Template error freed of its part that would change the whitened level itself [shape=(B, B)].

    A level is the mean over bands of the hiss that is there, not of a template: errors may move power between bands
    but not add any. Which bands carry it is read from the contrast, where it stands out of the noise.
    """
    noise = np.sqrt(np.diag(cov))
    carried = np.maximum(np.expm1(rho), 0.0) + noise.mean() * shape
    carried /= carried.sum()
    project = np.eye(len(rho)) - carried
    return np.asarray(project @ error @ project.T)
