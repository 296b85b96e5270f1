"""One switched take at a standing microphone: what follows the switching is leak, what does not averages out.

Synchronous detection, as in Dicke's switched radiometer (1946), over half cycles of air off and air on: the same
contrast as from walks, per band, with a covariance that comes from the take itself and no part left to drift.

Symbols: T frames, B bands, n blocks of ``BLOCK_S``.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.signal.contrast import Contrast, Group
from listen.signal.drift import NEPER_PER_DB, Drift, RoundDrift
from listen.signal.excess import by_variance, whitening
from listen.signal.locked_fit import Fit, fit
from listen.signal.spectra import Spectra
from listen.signal.switched_blocks import (
    LEAST_POWER,
    Blocks,
    blocks,
    cycles_in,
    hidden_under_hiss,
    levels,
    standing_out,
    unknocked,
)
from listen.signal.switched_loud import LEAVES_DB, as_in_the_quiet, read_settled
from listen.signal.switching import Timeline
from listen.signal.take import OVERLAP_EFFICIENCY, TINY

LEAST_CYCLES = 2
"""Fewer cycles than this are no switched take: what happens once may be anything."""
MOST_LEFT_OUT = 1 / 3
"""Share of half cycles that may be left out."""
NEARLY_OFF = 0.02
"""Where less than this share of the hiss, or of the background, is left of it, the level is that of air off."""
SURE_SIGMAS = 3.09
"""Where the lower end of what is claimed lies: one in a thousand."""
AGAINST_SIGMAS = 5.0
"""Louder with the air off by more than this is no chance of a shop (one in ten thousand with few cycles): a take is
refused for it only where a real leak was turned the wrong way round."""
LOUD_DB = 2.0
"""Mean log ratio of the bands, or excess, from which a hiss is loud enough to be read where it has settled alone."""
SCALES = (0.0, 0.2, 0.4, 0.6, 0.75, 0.87, 0.94, 0.975, 0.99, 0.997, 0.9995, 1.0)
"""Shares of probability between which the unknown size of the variance is taken as one value each: fine where it is
large, since that is what a false alarm of one in a thousand comes from."""
NOTHING_KNOWN_DB = 60.0
"""Standard deviation of a band's ratio beyond which it is not stated: more than lies between silence and the loudest
hiss. A maker's take had 2,000 dB, and an interval no form holds."""


@dataclass(frozen=True, slots=True, eq=False)
class Locked:
    """What one or more switched takes at a point say."""

    contrast: Contrast
    """Air on against air off."""
    scatter: RoundDrift
    """In place of the round's drift: none, and how uncertain the covariances themselves are."""
    cycles: int
    left_out: tuple[int, ...]
    """Half cycles that stood out and were left out, counted from 0 (even: air off)."""
    quiet_db: float
    """Standard deviation of the level from one air-off half to the next, dB."""
    decay_s: float | None
    """Time constant of the hiss after shut-off, where the sound shows it."""
    found: bool
    """True where the switching is heard here; false where only the commands say when it was."""
    against: bool
    """True where it was surely louder with the air off than with it on."""

    @property
    def variance(self) -> float:
        """Mean variance of the bands' log ratios."""
        return float(2.0 * np.diag(self.contrast.quiet.cov).mean())


def frame_times_s(spectra: Spectra) -> NDArray[np.float64]:
    """Centre of each frame [shape=(T,)]."""
    return np.asarray((np.arange(spectra.frames) * spectra.hop + 0.5 * spectra.frame) / spectra.rate_hz)


def lock(
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    timeline: Timeline,
    bandwidth_hz: NDArray[np.float64],
    common: NDArray[np.float64] | None = None,
) -> Locked | None:
    """Reduce a switched take; ``None`` where fewer than two cycles can be used.

    Parameters
    ----------
    power
        Frame-band powers [shape=(T, B)], full scale squared.
    t_s
        Centre of each frame [shape=(T,)].
    timeline
        Its switching.
    bandwidth_hz
        What each band uses [shape=(B,)].
    common
        Log level in each second, as other channels of the same take heard the shop [shape=(n,)]: taken out.
    """
    # Digital silence has no logarithm.
    power = np.maximum(power, TINY)
    if common is not None:
        # A level stands for the middle of its second; the take's own mean is left alone.
        shop = np.interp(t_s, np.arange(len(common)) + 0.5, common)
        power = power * np.exp(-(shop - shop.mean()))[:, None]
    found = _fit_all(power, t_s, timeline, bandwidth_hz)
    weight = bandwidth_hz / bandwidth_hz.sum()
    if found is None:
        return None
    if _sizes(found.contrast.rho, found.contrast, weight).max() < LOUD_DB * NEPER_PER_DB:
        return found
    # A faint hiss needs all there is, and what is left of it hides nothing. Of a loud one what has settled is enough.
    settled = read_settled(power, t_s, timeline, bandwidth_hz, found.contrast)
    if settled is None:
        return found
    contrast, left_out, quiet_db = settled
    # Where its curve fits, the fit of all there is says the same, and better; but not what a silence would have been.
    apart = contrast.rho - found.contrast.rho
    sizes = [_sizes(c.rho, contrast, weight) for c in (contrast, found.contrast)]
    if np.abs(sizes[0] - sizes[1]).max() < LEAVES_DB * NEPER_PER_DB:
        # Air-off halves stand out beside a hiss that dies slowly for what is left of it: no fault of theirs.
        faults = tuple(h for h in found.left_out if h % 2 or h in left_out)
        # Two ways to read one hiss: by half of what they differ either may err.
        quiet, air = (
            replace(g, cov=cov, floor_cov=cov)
            for g in (found.contrast.quiet, found.contrast.air)
            for cov in (g.cov + 0.125 * np.outer(apart, apart),)
        )
        return replace(found, contrast=Contrast(quiet, air, contrast.silent), left_out=faults)
    return replace(found, contrast=contrast, left_out=left_out, quiet_db=quiet_db)


def _sizes(rho: NDArray[np.float64], like: Contrast, weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean log ratio, and excess as ``like`` states it, in nepers: a hiss of few bands is loud in the second alone."""
    return np.array([weight @ rho, np.log(whitening(like) @ np.exp(rho))])


def _fit_all(
    power: NDArray[np.float64], t_s: NDArray[np.float64], timeline: Timeline, bandwidth_hz: NDArray[np.float64]
) -> Locked | None:
    """Reduce the whole take, near edges excepted."""
    half = np.where(timeline.guarded(t_s), -1, timeline.halves(t_s))
    calm = (half >= 0) & unknocked(power, half)
    keep = calm.copy()
    weight = bandwidth_hz / bandwidth_hz.sum()
    out: list[int] = []
    shares = np.stack([timeline.share(t_s), *timeline.shares(t_s)])
    while True:
        made = blocks(power, t_s, half, keep, shares)
        cycles = cycles_in(made.half)
        if cycles < LEAST_CYCLES:
            return None
        worst = standing_out(made, weight)
        # Off first and last: a take of n cycles has 2 n + 1 halves.
        if worst is None or len(out) + 1 > MOST_LEFT_OUT * (2 * timeline.cycles + 1):
            break
        out.append(worst)
        keep &= half != worst
    first, found = _fitted(made, weight, bandwidth_hz, timeline.period_s)
    quiet, air, cov, silent = _pair(first, found, made, weight, hidden_under_hiss(power, half, keep, out) / made.quiet)
    sure = 1e6  # what the covariances do not know stands in ``scatter``
    # None below twice what is sure, or chance that looks like hiss would choose the bands it is looked for in.
    clear = float((found.h / np.sqrt(np.diag(found.cov))).max()) / (2.0 * SURE_SIGMAS)
    died = keep & (half % 2 == 0) & (shares[0] <= NEARLY_OFF / max(float((air / quiet).max()) - 1.0, 1.0))
    # The first half, even where it stood out from the others for what is left of the hiss in these.
    still = np.where(died | (calm & (half == 0)), half, -1)
    silent = as_in_the_quiet(silent, power, t_s, still, float(np.clip(clear - 1.0, 0.0, 1.0)))
    # Half of the covariance to either side: only their ratio is known. No spread: nothing drifts between the two.
    groups = [Group(mean, 0.5 * cov, mean, 0.5 * cov, 0.0, sure) for mean in (quiet, air)]
    known = student(found.dof)
    return Locked(
        Contrast(groups[0], groups[1], silent),
        RoundDrift(known, known),
        cycles,
        tuple(sorted(out)),
        _quiet_db(made, weight),
        timeline.decay_s,
        timeline.found,
        float(weight @ found.h) < -AGAINST_SIGMAS * float(np.sqrt(weight @ found.cov @ weight)),
    )


def student(dof: float) -> Drift:
    """No drift, and a variance known from ``dof`` degrees of freedom: a Student t as a mixture of normals."""
    from scipy.special import chdtri

    ends = np.array(SCALES)
    # The middle of each share stands for it.
    middle = 0.5 * (ends[1:] + ends[:-1])
    kappa = dof / chdtri(dof, middle)  # chdtri counts from above: large kappa at the end
    zeros = np.zeros(len(kappa))
    return Drift(kappa, zeros, zeros, np.diff(ends), 0)


def _fitted(
    made: Blocks, weight: NDArray[np.float64], bandwidth_hz: NDArray[np.float64], period_s: float
) -> tuple[Fit, Fit]:
    """The fit, and a second one that knows how much hiss there is.

    Blocks with hiss scatter by its power too, and those on a slope by what the slope is not known.
    """
    # How much a sum over bands varies is fitted for one such sum: about that of the excess. Of talk, loud in few bands,
    # the one by bandwidth varies less than variances say the excess does: 1.18 standard deviations for one, so 1.08.
    of_excess = by_variance(fit(made.y, made.share, made.t_s, made.seconds, period_s, weight).cov)
    first = fit(made.y, made.share, made.t_s, made.seconds, period_s, of_excess)
    h, steady = max(float(weight @ first.h), 0.0), 1.0 / (OVERLAP_EFFICIENCY * bandwidth_hz.sum())
    variance = steady * (1.0 + h * made.share) ** 2 / made.seconds + h**2 * made.shares.var(axis=0)
    return first, fit(made.y, made.share, made.t_s, steady / variance, period_s, of_excess)


def _pair(
    first: Fit, found: Fit, made: Blocks, weight: NDArray[np.float64], hidden: NDArray[np.float64]
) -> tuple[NDArray[np.float64], ...]:
    """Quiet and air power per band; the covariance of the log of their ratio, as found and were there no hiss."""
    off = made.half % 2 == 0
    least = NEARLY_OFF / max(float(found.h.mean()), 1.0)
    if not (off & (made.share <= least)).any():
        least = float(np.quantile(made.share[off], 1 / 3))
    off &= made.share <= least
    levels = np.stack([found.residual[off & (made.half == h)].mean(axis=0) for h in np.unique(made.half[off])])
    base = np.maximum(1.0 + levels.mean(axis=0), LEAST_POWER)
    ratio = np.maximum(1.0 + found.h / base, LEAST_POWER)
    grown = base * np.maximum(ratio, 1.0)
    quiet = made.quiet * base
    # Hiss raises the first fit's variance where it is loud, the second's by what edges are not known where it is faint.
    silent = min(first.cov, found.cov, key=lambda cov: float(weight @ cov @ weight)) / np.outer(base, base)
    slope = _steeper(ratio - 1.0, np.sqrt(np.diag(silent))) / grown
    # Bands err together by what edges and decay are not known: each that may be would have made this much of the hiss.
    template = float(((made.shares @ found.by - 1.0) ** 2).mean()) * float(found.h.mean()) ** 2
    # What hides under a hiss may all be counted for it, or none: the more, the louder the hiss.
    hidden = hidden * np.maximum(found.h, 0.0) / (1.0 + np.maximum(found.h, 0.0))
    # The quiet level that the hiss is stated over moves too: its error is that of the mean over the air-off halves.
    spare, n = (levels - levels.mean(axis=0)) / base, len(levels)
    above = (ratio - 1.0) / np.maximum(ratio, 1.0)
    # n - 3 for n - 1: the mean of a few halves errs as a Student t does, whose variance is so much the larger.
    moved = spare.T @ spare / (n * max(n - 3, 1)) * np.outer(above, above)
    cov = (found.cov + template + np.outer(hidden, hidden)) * np.outer(slope, slope) + moved
    # A clank in a band that is else all but empty may hide anything: its error is not let grow beyond all levels.
    known = np.minimum(1.0, NOTHING_KNOWN_DB * NEPER_PER_DB / np.sqrt(np.diag(cov)))
    return quiet, quiet * ratio, cov * np.outer(known, known), silent


def _steeper(hiss: NDArray[np.float64], sigma: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much steeper the logarithm falls from what was found to the lower end of what is claimed than it is there.

    The slope where it was found alone would make a large error of a large chance hiss look small. Less than none is
    chance as well: there it is the slope up to no hiss, so that an interval holds none as often as the error allows.
    """
    step = np.clip(np.minimum(SURE_SIGMAS * sigma, hiss), 1e-6, None)
    top = 1.0 + np.maximum(hiss, 1e-6)
    less = np.minimum(hiss, -1e-6)
    return np.asarray(np.where(hiss < 0.0, np.log1p(less) / less, -np.log1p(-step / top) / step * top))


def _quiet_db(made: Blocks, weight: NDArray[np.float64]) -> float:
    off = [level for half, level in levels(made, weight).items() if half % 2 == 0]
    return float(np.std(off, ddof=1) / NEPER_PER_DB) if len(off) > 1 else 0.0
