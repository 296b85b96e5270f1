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
from listen.signal.drift import NEPER_PER_DB, Drift, RoundDrift

FALSE_ALARM = 1e-3
"""A hiss is called detected at one false alarm in a thousand quiet points."""
MISS = 0.05
"""The detection limit is what would have been missed 1 time in 20 (the form of ISO 11843)."""
FLOOR_CORRELATION = 0.6
"""Of floor and mean estimates of single clips, by simulated steady and speech-like noise."""
SIDE_95 = 0.025
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
    # From quiet alone: weights that saw the air clip would choose the bands where chance is loudest.
    return by_variance(contrast.quiet.cov if contrast.silent is None else contrast.silent)


def by_variance(cov: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights over bands by the inverse of their variances, the diagonal of ``cov`` [shape=(B, B)]; sum 1."""
    w = 1.0 / np.diag(cov)
    return np.asarray(w / w.sum())


def excess(contrast: Contrast, drift: RoundDrift, live: NDArray[np.bool_], floor_bias: NDArray[np.float64]) -> Excess:
    """Excess with its 95 % interval and detection limit.

    ``live`` [shape=(13,)] says which bands the contrast holds, ``floor_bias`` [shape=(B,)] is the chi-square quantile
    over its mean that a floor carries.
    """
    w = whitening(contrast)
    q, a = contrast.quiet, contrast.air
    means = _Estimate.of(w, q.mean, a.mean, q.mean, (q.cov, a.cov), contrast, drift.means, live)
    scale = floor_bias * q.mean
    floors = _Estimate.of(w, q.floor, a.floor, scale, (q.floor_cov, a.floor_cov), contrast, drift.floors, live)
    m, f = float(drift.means.weight @ means.variance), float(drift.floors.weight @ floors.variance)
    # Speech and ratchets leave gaps that a steady hiss lifts, so there floors tell more; in steady noise the mean does.
    # A switched take has means alone: over its half cycles floors told no more in any shop of its bench.
    lam = blend(m, f) if contrast.silent is None else 0.0
    lead, mix, its = (floors, drift.floors, f) if lam > 0.5 else (means, drift.means, m)
    # R is signed until here: cut at zero before it is averaged, chance alone would read as a faint hiss.
    log_sum = np.log(max(1.0 + lam * floors.r + (1.0 - lam) * means.r, LOWEST_RATIO))
    # The blend's variance about its leading part's, the same in every scenario.
    cross = FLOOR_CORRELATION * np.sqrt(m * f)
    gain = (lam**2 * f + (1.0 - lam) ** 2 * m + 2.0 * lam * (1.0 - lam) * cross) / its
    here = np.sqrt(gain * lead.variance) / np.exp(log_sum)
    null = np.sqrt(gain * lead.null_variance)
    dof = q.dof + a.dof
    # Not a multiple of one deviation: mixed over sizes of drift the tails are heavier than any one of them.
    half = upper_quantile(SIDE_95, here, mix.weight, dof)
    # Both limits are for a point without hiss: the air clip's own variance would let a loud hiss raise its own limit.
    critical = upper_quantile(FALSE_ALARM, null, mix.weight, dof)
    limit = critical + upper_quantile(MISS, null, mix.weight, dof)
    return Excess(
        log_sum / NEPER_PER_DB,
        ((log_sum - half) / NEPER_PER_DB, (log_sum + half) / NEPER_PER_DB),
        limit / NEPER_PER_DB,
        bool(log_sum > critical),
        lam,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Estimate:
    """The whitened sum R from means or from floors, with its variance under each scenario of drift."""

    r: float
    variance: NDArray[np.float64]
    """[shape=(G,)]."""
    null_variance: NDArray[np.float64]
    """The same were there no hiss [shape=(G,)]."""

    @classmethod
    def of(
        cls,
        w: NDArray[np.float64],
        quiet: NDArray[np.float64],
        air: NDArray[np.float64],
        scale: NDArray[np.float64],
        covs: tuple[NDArray[np.float64], NDArray[np.float64]],
        contrast: Contrast,
        drift: Drift,
        live: NDArray[np.bool_],
    ) -> _Estimate:
        # Signed sums: where air came out softer than quiet it is counted as such.
        wq, wa = w * quiet / scale, w * air / scale
        r = float((wa - wq).sum())
        # Quiet is the divisor of a ratio of means; of floors it is only the subtrahend.
        divisor = wa if scale is quiet else wq
        moved = contrast.quiet.spread * _forms(wa, drift.cov(live))
        moved += contrast.air.spread * _forms(wq, drift.cov(live))
        variance = drift.kappa * (_forms(divisor, covs[0]) + _forms(wa, covs[1])) + moved
        if scale is not quiet:  # the quiet mean that floors are taken relative to is itself uncertain
            variance = variance + drift.kappa * _forms(wa - wq, contrast.quiet.cov)
        # Clips taken at two times drift apart by the spread of both, however long each is.
        both = contrast.quiet.spread + contrast.air.spread
        silent = covs[0] + covs[1] if contrast.silent is None else contrast.silent
        null = drift.kappa * _forms(wq, silent) + both * _forms(wq, drift.cov(live))
        return cls(r, variance, null)


def blend(mean_var: float, floor_var: float) -> float:
    """Weight of the floor estimate that gives the least variance, given their correlation."""
    # Both come from the same frames: taken as independent, the blend would claim more than was heard.
    cross = FLOOR_CORRELATION * np.sqrt(mean_var * floor_var)
    return float(np.clip((mean_var - cross) / max(mean_var + floor_var - 2.0 * cross, 1e-30), 0.0, 1.0))


def _forms(w: NDArray[np.float64], cov: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quadratic form, or one for each of a stack of matrices."""
    return np.asarray(np.einsum("b,...bc,c->...", w, cov, w))


STEPS = 40
"""Halvings of the bracket: a relative width of 1e-12."""


def upper_quantile(p: float, scale: NDArray[np.float64], weight: NDArray[np.float64], dof: float) -> float:
    """Value exceeded with probability ``p`` by a t variate of ``dof`` degrees whose scale is drawn by ``weight``.

    ``scale`` and ``weight`` have shape (G,).
    """
    # By halving, as no formula inverts a mixture; loaded only when something is measured.
    from scipy.special import stdtr

    # Beyond any quantile asked for, with the few degrees of freedom that there are.
    low, high = 0.0, 1e4 * float(scale.max())
    for _ in range(STEPS):
        mid = 0.5 * (low + high)
        if float(weight @ stdtr(dof, -mid / scale)) > p:
            low = mid
        else:
            high = mid
    return 0.5 * (low + high)
