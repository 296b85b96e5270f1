"""The excess: how much more hiss an air clip holds than the quiet one, with interval and detection limit.

Symbols: R = sum over bands of w_b (P_air,b / P_quiet,b - 1), the whitened sum (Urkowitz 1967), with weights w_b by
inverse variance in the quiet clips; excess = 10 lg(1 + R). Where the background is unsteady, R is blended with the
same sum over floors by inverse variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.contrast import Contrast
from listen.signal.drift import NEPER_PER_DB, Drift
from listen.signal.mixture import upper_quantile

FALSE_ALARM = 1e-3
"""A hiss is called detected at one false alarm in a thousand quiet points."""
MISS = 0.05
"""The detection limit is what would have been missed 1 time in 20 (the form of ISO 11843)."""
SIDE_95 = 0.025
FLOOR_MEAN_CORRELATION = 0.6
"""Correlation of floor and mean estimates of one clip (simulated steady and speech-like noise)."""
LOWEST_RATIO = 1e-3
"""1 + R is never taken below -30 dB; a louder quiet than that is a broken pair and flagged elsewhere."""


@dataclass(frozen=True, slots=True, eq=False)
class Excess:
    """Excess at one point, in decibels."""

    excess_db: float
    ci95_db: tuple[float, float]
    detection_limit_db: float
    detected: bool
    floor_share: float
    """How much the floor estimator had to say: 0 in steady noise, up to 1 in unsteady."""


def whitening(contrast: Contrast) -> NDArray[np.float64]:
    """Inverse-variance weights over bands from the quiet clips alone [shape=(B,)], sum 1."""
    w = 1.0 / np.diag(contrast.quiet.cov)
    return np.asarray(w / w.sum())


def excess(
    contrast: Contrast, drift: Drift, correlation: NDArray[np.float64], floor_bias: NDArray[np.float64]
) -> Excess:
    """Excess with its 95 % interval and detection limit.

    ``correlation`` [shape=(B, B)] is that of drift over bands, ``floor_bias`` [shape=(B,)] the chi-square quantile
    over its mean that a floor carries.
    """
    w = whitening(contrast)
    ratio = np.exp(contrast.rho)
    mean_r = float(w @ (ratio - 1.0))
    mean_var = _variance(w * ratio, contrast.quiet.cov + contrast.air.cov)
    lift = (contrast.air.floor - contrast.quiet.floor) / (floor_bias * contrast.quiet.mean)
    floor_r = float(w @ lift)
    floor_var = _variance(w * contrast.air.floor / (floor_bias * contrast.quiet.mean), contrast.air.floor_cov)
    floor_var += _variance(w * contrast.quiet.floor / (floor_bias * contrast.quiet.mean), contrast.quiet.floor_cov)
    lam = blend(mean_var, floor_var)
    r = lam * floor_r + (1.0 - lam) * mean_r
    cross = FLOOR_MEAN_CORRELATION * np.sqrt(mean_var * floor_var)
    variance = lam**2 * floor_var + (1.0 - lam) ** 2 * mean_var + 2.0 * lam * (1.0 - lam) * cross
    total = max(1.0 + r, LOWEST_RATIO)
    # Drift of the background, diluted in the log ratio by the hiss on top of it in the air clips.
    drift_var = contrast.quiet.spread * _variance(w * ratio, correlation)
    drift_var += contrast.air.spread * _variance(w, correlation)
    dof = contrast.quiet.dof + contrast.air.dof
    sd_here = np.sqrt(variance + drift.sigma**2 * drift_var) / total
    null_var = _variance(w, contrast.quiet.cov) + _variance(w, contrast.air.cov)
    null_var *= variance / mean_var
    sd_null = np.sqrt(
        null_var + drift.sigma**2 * (contrast.quiet.spread + contrast.air.spread) * _variance(w, correlation)
    )
    level = np.log(total)
    half = upper_quantile(SIDE_95, sd_here, drift.weight, dof)
    critical = upper_quantile(FALSE_ALARM, sd_null, drift.weight, dof)
    limit = critical + upper_quantile(MISS, sd_null, drift.weight, dof)
    return Excess(
        level / NEPER_PER_DB,
        ((level - half) / NEPER_PER_DB, (level + half) / NEPER_PER_DB),
        limit / NEPER_PER_DB,
        bool(level > critical),
        lam,
    )


def blend(mean_var: float, floor_var: float) -> float:
    """Weight of the floor estimate that gives the least variance, given their correlation."""
    cross = FLOOR_MEAN_CORRELATION * np.sqrt(mean_var * floor_var)
    return float(np.clip((mean_var - cross) / max(mean_var + floor_var - 2.0 * cross, 1e-30), 0.0, 1.0))


def _variance(w: NDArray[np.float64], cov: NDArray[np.float64]) -> float:
    return float(w @ cov @ w)
