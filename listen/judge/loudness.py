"""How likely each hiss level is at one point, given the contrast of its air and quiet clips and the shop's drift.

A level is net hiss power over the round's own mean background, the same at all points: one microphone and one gain
make powers comparable where an excess over each point's own noise is not (METHOD section 11).

Symbols: N levels, S templates, B bands, K drift scenarios, X states of the drift that all points of a walk share.
rho_b ~ Normal(ln(exp(d) + s_b), C + K), s the template's hiss over background, d the shared drift, C from blocks inside
the clips, K this point's own drift and the template's error. One band may besides have moved by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.log_sum import log_sum
from listen.judge.shapes import error_cov, templates_db
from listen.signal.contrast import Contrast
from listen.signal.drift import NEPER_PER_DB, Drift, smooth_correlation

LEVELS_DB: NDArray[np.float64] = np.arange(-30.0, 64.0, 2.0)
"""Levels considered; the lowest is as good as silence, the highest a jet at arm's length in a quiet room. Judgement:
the grid only has to be wider than what is met."""
SHARED = 0.7
"""Share of the level drift's variance that all points of a walk have in common. Quick walks share more (METHOD section
11), points taken one by one, quiet, air, quiet, share less."""
NODES = np.array([-2.857, -1.356, 0.0, 1.356, 2.857])
NODE_WEIGHTS = np.array([0.01126, 0.22208, 0.53333, 0.22208, 0.01126])
"""Gauss-Hermite points for a standard normal variate."""
SCENARIOS = 24
"""Most probable scenarios of drift that are kept. Judgement: time against tails."""
BAND_MOVES = 0.2
"""Chance that one third octave moved by itself between the clips (a fan, a tone, a pump) ..."""
BAND_MOVES_DB = (2.0, 8.0)
"""... and by how much: standard deviations, each as likely. Judgement, both."""
TAIL_DOF = 5.0
"""Degrees of freedom of the Student t: variances come from few blocks, and shops are worse than any Gaussian."""
BAND_ROUGH_DB = 0.12
"""Every band moves a little by itself. Judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class SharedDrift:
    """States of the drift that all points of a walk share, and scenarios for what each has besides."""

    scenarios: Drift
    group: NDArray[np.intp]
    """Which size of common drift each scenario has [shape=(K,)]."""
    log_weight: NDArray[np.float64]
    """Log probability of each state [shape=(X,)]: sizes by nodes."""

    @classmethod
    def of(cls, drift: Drift) -> SharedDrift:
        """Split a drift into what points share and what they do not."""
        # Stable and sorted again: equal weights are kept in the same order on every machine.
        keep = np.sort(np.argsort(-drift.weight, kind="stable")[:SCENARIOS])
        weight = drift.weight[keep] / drift.weight[keep].sum()
        kept = Drift(drift.kappa[keep], drift.common[keep], drift.smooth[keep], weight, drift.repeats)
        sizes, group = np.unique(kept.common, return_inverse=True)
        by_size = np.bincount(group, weights=weight, minlength=len(sizes))
        # The size of the common drift and where in its spread this walk lies: both are the same for all points.
        states = np.log(by_size)[:, None] + np.log(NODE_WEIGHTS)
        return cls(kept, np.asarray(group, dtype=np.intp), states.ravel())


def log_likelihood(
    rho: NDArray[np.float64],
    cov: NDArray[np.float64],
    contrast: Contrast,
    live: NDArray[np.bool_],
    drift: SharedDrift,
    reference: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Log likelihood of each state of the shared drift and each level [shape=(X, N)], up to one constant.

    Parameters
    ----------
    rho, cov
        Log ratio of air over quiet, of means or of floors, and its covariance from blocks [shape=(B,), (B, B)].
    live
        Which of the thirteen bands these are.
    reference
        Mean background of the round, linear; infinite where no point hears a band [shape=(13,)].
    """
    k = drift.scenarios
    shape = 10.0 ** (templates_db() / 10.0)
    # To a mean of 1 over the round's background: that is what a level of 0 dB means.
    shape /= (shape / reference).sum(axis=1, keepdims=True) / np.isfinite(reference).sum()
    # Levels are over the round's background, a contrast is over this point's own: from the one to the other.
    ratio = shape[:, live] / contrast.quiet.mean
    s = 10.0 ** (LEVELS_DB[:, None, None] / 10.0) * ratio
    # The template's error matters as far as the band is hiss; drift, below, as far as it is background.
    # Averaged over templates: one covariance a level and scenario to invert, not eighteen.
    share = (s / (1.0 + s)).mean(axis=1)
    carried = _carried(rho, cov, contrast.quiet.mean / reference[live], ratio.mean(axis=0))
    error = carried @ error_cov()[np.ix_(live, live)] @ carried.T
    apart = contrast.drift_share
    own = (1.0 - SHARED) * k.common[:, None, None] ** 2
    own = own + k.smooth[:, None, None] ** 2 * smooth_correlation()[np.ix_(live, live)]
    rough = (BAND_ROUGH_DB * NEPER_PER_DB) ** 2 * np.eye(len(rho))
    scatter = k.kappa[:, None, None] * cov + apart * (own + rough)
    total = scatter[:, None] + share[:, :, None] * share[:, None, :] * error
    inverse = np.linalg.inv(total)
    # The sign, left out, is always plus: covariances are positive definite.
    half_log_det = 0.5 * np.linalg.slogdet(total)[1]
    miss = rho - np.log1p(s)
    shift = np.sqrt(SHARED * (contrast.quiet.spread + contrast.air.spread)) * k.common[:, None] * NODES
    # One scenario at a time: its arrays stay in the processor's cache, which takes two thirds of the time.
    log_p = np.stack([_log_density(miss, 1.0 - share, *one) for one in zip(inverse, shift, strict=True)])
    log_p -= half_log_det[:, :, None, None]
    # Within its size only: how likely the size itself is stands in the state's weight.
    log_p += np.log(k.weight / np.bincount(drift.group, weights=k.weight)[drift.group])[:, None, None, None]
    # All templates as likely, not divided by their number: it is the same at every level.
    by_scenario = log_sum(log_p, axis=2)
    out = np.stack([log_sum(by_scenario[drift.group == g], axis=0).T for g in range(int(drift.group.max()) + 1)])
    out = out.reshape(-1, len(LEVELS_DB))
    # Only ratios count; the largest at nought keeps exponentials in range.
    return np.asarray(out - out.max())


def _log_density(
    miss: NDArray[np.float64],
    dilution: NDArray[np.float64],
    inverse: NDArray[np.float64],
    shift: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Log density but for the determinant [shape=(N, S, Z)] of ``miss`` [shape=(N, S, B)] less a shared shift.

    Under one scenario of drift, of inverse covariance [shape=(N, B, B)]. Drift moves the background only: by
    ``dilution`` [shape=(N, B)] of each ``shift`` [shape=(Z,)]. That one band moved by itself is weighed at the most
    likely shift; a rank-one change of the covariance (Sherman & Morrison 1950).
    """
    along = np.einsum("nbc,nc->nb", inverse, dilution)
    solved = miss @ inverse
    a = np.einsum("nsb,nsb->ns", solved, miss)
    b = np.einsum("nsb,nb->ns", solved, dilution)
    c = np.einsum("nb,nb->n", along, dilution)[:, None]
    # Held to the nodes that are summed over: beyond them no drift is allowed for.
    widest = np.abs(shift).max()
    at = np.clip(b / np.maximum(c, 1e-12), -widest, widest)
    left = (solved - at[..., None] * along[:, None, :]) ** 2
    best = np.maximum(a - 2.0 * b * at + c * at**2, 0.0)[..., None]
    half = 0.5 * (TAIL_DOF + miss.shape[-1])
    moved = np.zeros_like(a)
    for size in (NEPER_PER_DB * np.array(BAND_MOVES_DB)) ** 2:
        grown = 1.0 + size * np.diagonal(inverse, axis1=-2, axis2=-1)[:, None, :]
        without = np.maximum(best - size / grown * left, 0.0)
        # A root and a few products: a quarter of the time of a logarithm and an exponential.
        ratio = np.sqrt((TAIL_DOF + best) / (TAIL_DOF + without))
        gain = _power(ratio, round(2.0 * half)) / np.sqrt(grown)
        # A double ends at exp(709); what a single band gains beyond 600 decides nothing more.
        moved += np.minimum(gain, np.exp(600.0)).mean(axis=-1) / len(BAND_MOVES_DB)
    # Never below nought, as rounding of three large terms would have it.
    chi2 = np.maximum(a[..., None] - 2.0 * b[..., None] * shift + c[..., None] * shift**2, 0.0)
    return np.asarray(np.log(1.0 - BAND_MOVES + BAND_MOVES * moved)[..., None] - half * np.log1p(chi2 / TAIL_DOF))


def _power(x: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """Positive whole power, by squaring."""
    out: NDArray[np.float64] | None = None
    while True:
        if n % 2:
            out = x if out is None else out * x
        n //= 2
        if not n:
            return x if out is None else out
        x = x * x


def _carried(
    rho: NDArray[np.float64], cov: NDArray[np.float64], weight: NDArray[np.float64], ratio: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Projector that frees a template's error of what would change the level itself [shape=(B, B)].

    Errors may move power between bands but not add any. Which bands carry it is read from the contrast, where it
    stands out of the noise.
    """
    noise = np.sqrt(np.diag(cov))
    # What stands out, and a little of what templates have on average: where nothing does, that alone says it.
    # Held at exp(50), more than any contrast.
    carries = np.maximum(np.expm1(np.minimum(rho, 50.0)), 0.0) + noise.mean() * ratio / ratio.mean()
    carries = carries * weight
    return np.asarray(np.eye(len(rho)) - carries / carries.sum())
