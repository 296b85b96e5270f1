"""One take as band numbers: mean and floor power per band, each with its covariance from blocks inside the clip.

Symbols: T frames, B bands, J blocks of about 0.25 s. Variances are relative (of the natural log of power).
Block variance carries the truth of unsteady sound; ideal chi-square variance alone would be far too sure.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

BLOCK_S = 0.25
"""Long against the ring of a room's speech sounds, short enough for 16 blocks in 4 s."""
FLOOR_BLOCK_S = 0.5
MIN_BLOCKS = 4
OVERLAP_EFFICIENCY = 0.947
"""Share of B x T that Hann frames at 50 % overlap use (Percival & Walden 1993)."""
BEYOND_CHANCE = 1.8
"""Scatter of 13 log variances, in multiples of what chance gives, that chance alone passes 4 times in a hundred (drawn
over 12 to 31 blocks): only what lies beyond counts as the bands' own, else weights would chase luck."""
BEYOND_CHANCE_R = 1.3
"""The same for the squares of the 78 correlations between them, which chance passes 19 times in a hundred over 15
blocks and 10 over 31; what it lets through is shrunk by most of its size."""
TINY = 1e-30


@dataclass(frozen=True, slots=True, eq=False)
class TakeBands:
    """All that is kept of one take's hiss."""

    mean: NDArray[np.float64]
    """Mean power per band over the kept frames, full scale squared [shape=(B,)]."""
    cov: NDArray[np.float64]
    """Covariance of the log mean [shape=(B, B)]."""
    floor: NDArray[np.float64]
    """Low-quantile power per band, bias not removed [shape=(B,)]."""
    floor_cov: NDArray[np.float64]
    """Covariance of the log floor [shape=(B, B)]."""
    dof: float
    """Degrees of freedom behind ``cov``."""
    inflation: float
    """Block variance over that of ideal noise, pooled over bands: 1 for a perfectly steady clip."""
    kurtosis: NDArray[np.float64]
    """Spectral kurtosis of each band's power [shape=(B,)]: 1 for a steady Gaussian hiss, more for events."""
    kept: float
    """Share of frames that passed the gate."""
    seconds: float


def take_bands(
    power: NDArray[np.float64], bandwidth_hz: NDArray[np.float64], seconds: float, dof: NDArray[np.float64]
) -> TakeBands:
    """Reduce frame-band powers [shape=(T, B)] of one take.

    ``bandwidth_hz`` [shape=(B,)] is what each band uses, ``dof`` [shape=(B,)] the chi-square degrees of freedom of one
    frame's power in it.
    """
    # Digital silence has no logarithm; so little changes no sum.
    power = np.maximum(power, TINY)
    # The mean only is gated: the floor takes the low quarter of all frames, which a knock does not reach.
    keep = gate(np.log(power))
    kept = float(keep.mean())
    mean = power[keep].mean(axis=0)
    # What is gated out is time that was not listened: the ideal variance grows as the kept share falls.
    ideal = 1.0 / (OVERLAP_EFFICIENCY * bandwidth_hz * seconds * kept)
    deviation, weight = _blocks(power / mean, keep, seconds)
    cov, blocks_dof, inflation = _covariance(deviation * weight[:, None], ideal)
    blocks = max(MIN_BLOCKS, round(seconds / FLOOR_BLOCK_S))
    floor_cov = jackknife_log_floor(power, blocks)
    return TakeBands(
        mean,
        cov,
        floor_power(power),
        _regular(floor_cov, blocks - 1, ideal),
        blocks_dof,
        inflation,
        # Every second frame: the estimator asks for independent ones, and neighbours share half their samples.
        _kurtosis(power[::2], 0.5 * dof),
        kept,
        seconds,
    )


def _kurtosis(power: NDArray[np.float64], d: NDArray[np.float64]) -> NDArray[np.float64]:
    """Generalized spectral kurtosis of frames that do not overlap, gamma shape ``d`` (Nita & Gary 2010)."""
    m = len(power)
    s1, s2 = power.sum(axis=0), (power**2).sum(axis=0)
    return np.asarray((m * d + 1.0) / (m - 1.0) * (m * s2 / s1**2 - 1.0))


def _blocks(
    relative: NDArray[np.float64], keep: NDArray[np.bool_], seconds: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Block means of relative power less one [shape=(J, B)] and each block's share of the kept frames [shape=(J,)]."""
    # Of a short clip blocks are short too: a spread needs a few of them.
    count = max(MIN_BLOCKS, round(seconds / BLOCK_S))
    starts = np.linspace(0, len(relative), count, endpoint=False).astype(int)
    # reduceat sums each block of frames in one go; blocks that the gate emptied are left out below.
    frames = np.add.reduceat(keep.astype(float), starts)
    sums = np.add.reduceat(relative * keep[:, None], starts, axis=0)
    some = frames > 0
    return sums[some] / frames[some, None] - 1.0, frames[some] / frames.sum()


def _covariance(y: NDArray[np.float64], ideal: NDArray[np.float64]) -> tuple[NDArray[np.float64], float, float]:
    """Covariance of the mean from weighted block deviations, shrunk towards what the bands have in common.

    Variances shrink towards the pooled inflation over ideal, correlations towards none, each as far as their scatter
    is no more than sampling noise (Schaefer & Strimmer 2005).
    """
    blocks = len(y)
    nu = max(blocks - 1, 1)
    # One block's worth is lost to the mean that they deviate from, as in any variance.
    emp = y.T @ y * (blocks / nu)
    # How many times ideal noise each band scatters: only as such can bands of all widths be pooled.
    k = np.maximum(np.diag(emp), TINY) / ideal
    pooled = float(k.mean())
    scatter = float(np.log(k).var())
    # Variance of the log of a chi-square over nu is about 2 / nu: what chance alone would scatter.
    to_pool = float(np.clip(BEYOND_CHANCE * (2.0 / nu) / max(scatter, TINY), 0.0, 1.0)) if len(k) > 1 else 0.0
    variance = ideal * np.exp((1.0 - to_pool) * np.log(k) + to_pool * np.log(pooled))
    sd = np.sqrt(np.maximum(np.diag(emp), TINY))
    # By the empirical deviations, not the shrunk ones: else no diagonal would be one.
    r, to_none = shrunk_correlation(emp / np.outer(sd, sd), nu)
    scale = np.sqrt(variance)
    # Bands that agree and do not move together tell of one inflation as so many takes would; else as one.
    dof = nu * (1.0 + to_pool * to_none * (len(k) - 1))
    return r * np.outer(scale, scale), dof, pooled


def shrunk_correlation(r: NDArray[np.float64], nu: int) -> tuple[NDArray[np.float64], float]:
    """Correlations ``r`` [shape=(B, B)] of ``nu`` degrees of freedom shrunk towards none, and how far, 0 to 1
    (Schaefer & Strimmer 2005)."""
    # Without the diagonal, whose ones are no estimates.
    off = ~np.eye(len(r), dtype=bool)
    noise = float(((1.0 - r[off] ** 2) ** 2 / nu).sum())
    lam = (
        float(np.clip(BEYOND_CHANCE_R * noise / max(float((r[off] ** 2).sum()), TINY), 0.0, 1.0)) if off.any() else 1.0
    )
    out = (1.0 - lam) * r
    np.fill_diagonal(out, 1.0)
    return out, lam


def _regular(cov: NDArray[np.float64], nu: int, ideal: NDArray[np.float64]) -> NDArray[np.float64]:
    """A floor covariance that can be inverted: variances never below ideal, correlations shrunk."""
    # No clip is steadier than ideal noise: less is luck of few blocks, and would make a limit too good.
    variance = np.maximum(np.diag(cov), ideal)
    sd = np.sqrt(np.maximum(np.diag(cov), TINY))
    r, _ = shrunk_correlation(np.clip(cov / np.outer(sd, sd), -1.0, 1.0), nu)
    scale = np.sqrt(variance)
    return np.asarray(r * np.outer(scale, scale))


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
    """Quantile over mean of a chi-square with ``nu`` [shape=(B,)] degrees of freedom (Wilson & Hilferty 1931)."""
    # Below two degrees of freedom the cube root is no longer near normal.
    a = 2.0 / (9.0 * np.maximum(nu, 2.0))
    return np.asarray((1.0 - a + Z_QUANTILE * np.sqrt(a)) ** 3)


def floor_power(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """Low quantile over frames [shape=(B,)] of band power [shape=(T, B)], bias not yet removed.

    A steady hiss lifts the floor of every gap between words and knocks; there it beats the mean by far, and in steady
    noise it loses to it (METHOD section 2).
    """
    return _low_quantile(np.ascontiguousarray(power.T))


def _low_quantile(by_band: NDArray[np.float64]) -> NDArray[np.float64]:
    """Low quantile of each row. NumPy sorts whole rows of doubles faster than it picks one rank of a column."""
    # Between the two ranks beside it, as numpy's own quantile goes.
    k = QUANTILE * (by_band.shape[1] - 1)
    low, high = int(np.floor(k)), int(np.ceil(k))
    rising = np.sort(by_band, axis=1)
    return np.asarray(rising[:, low] + (k - low) * (rising[:, high] - rising[:, low]))


def jackknife_log_floor(power: NDArray[np.float64], blocks: int) -> NDArray[np.float64]:
    """Covariance over bands [shape=(B, B)] of the log floor, by leaving out one block of frames at a time."""
    blocks = min(blocks, MAX_BLOCKS)
    edges = np.linspace(0, len(power), blocks + 1).astype(int)
    by_band = np.ascontiguousarray(power.T)
    # Whole blocks, since neighbouring frames share half their samples: single frames would count twice.
    floors = [_low_quantile(np.delete(by_band, slice(a, b), axis=1)) for a, b in pairwise(edges)]
    logs = np.log(np.maximum(np.stack(floors), 1e-30))
    centred = logs - logs.mean(axis=0)
    return np.asarray((blocks - 1) / blocks * centred.T @ centred)


MAD_TO_SIGMA = 1.4826
"""Standard deviation over median absolute deviation of a normal variate."""
GATE_SIGMA = 4.0
"""Gate on the mean log power over bands: within the 3.5..5 that costs under 0.1 % of steady frames."""
BAND_GATE_SIGMA = 8.0
"""Gate on any single band: chi-square frames are skewed, 8 sigma keeps steady noise whole at 10 degrees of freedom."""


def gate(log_power: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames to keep [shape=(T,)] from log band power [shape=(T, B)]: knocks, voices and ratchets are left out.

    Each frame is compared, on a logarithmic scale, with the clip's own median; frames that stand out above it are
    dropped: a steady hiss cannot gate itself. The rule is scale-free and the same for quiet and air clips, so its
    truncation bias cancels.
    """
    # On the logarithm of power, so that one loud knock does not move the scale that it is measured on; and one-sided,
    # since what falls below is a gap in the shop's noise, where a faint hiss is heard best.
    by_band = np.ascontiguousarray(log_power.T)
    broadband = log_power.mean(axis=1)[None, :]
    return np.asarray((_stand_out(broadband) <= GATE_SIGMA)[0] & (_stand_out(by_band) <= BAND_GATE_SIGMA).all(axis=0))


def _stand_out(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """How many robust standard deviations each value lies above its row's median."""
    above = x - _median(x)
    sigma = MAD_TO_SIGMA * _median(np.abs(above))
    # A generated tone has no scatter; nothing stands out of it.
    return np.asarray(above / np.maximum(sigma, 1e-6))


def _median(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median of each row [shape=(B, 1)]; a whole sort of short rows takes a third of the time of ``np.median``."""
    n = x.shape[1]
    rising = np.sort(x, axis=1)
    return np.asarray(0.5 * (rising[:, (n - 1) // 2] + rising[:, n // 2]))[:, None]
