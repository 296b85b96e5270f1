"""One switched take at a standing microphone: what follows the switching is leak, what does not averages out.

Synchronous detection, as in Dicke's switched radiometer (1946), over half cycles of air off and air on: the same
contrast as from walks, per band, with a covariance that comes from the take itself and no part left to drift.

Symbols: T frames, B bands, n blocks of ``BLOCK_S``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.contrast import Contrast, Group
from listen.signal.drift import NEPER_PER_DB, Drift, RoundDrift
from listen.signal.floor import QUANTILE
from listen.signal.gate import gate
from listen.signal.locked_fit import Fit, fit
from listen.signal.spectra import Spectra
from listen.signal.switching import Timeline
from listen.signal.take import OVERLAP_EFFICIENCY, TINY

BLOCK_S = 0.25
"""Short against a half cycle, long against a frame."""
LEAST_FRAMES = 3
"""A block with fewer frames kept says nothing."""
LEAST_CYCLES = 2
"""Fewer cycles than this are no switched take: what happens once may be anything."""
STANDS_OUT = 5.0
"""Robust standard deviations by which a half cycle leaves the line through its like before it is left out."""
MOST_LEFT_OUT = 1 / 3
"""Share of half cycles that may be left out."""
FLOOR_WALK = 0.5
"""White variance of a mean over that of a floor of the same sound: the walk weighs less against the latter's."""
FLOOR_MEAN_CORRELATION = 0.95
"""Of what follows the switching by floors and by means: they share the drift (measured 0.71 without, 0.84 with it).
Taken higher, so that a blend is made only where one is clearly better: its variance is itself known from few cycles."""
TEMPLATE_SPREAD = {True: 0.04, False: 0.06}
"""Standard deviation, in shares of the hiss, of what edges and decay taken for granted make of its size: with the edges
found in the sound, and by commands alone (a decay of 0.15 to 1 s, a reaction of 0.1 to 0.6 s)."""
ROUGHER = 1.5
"""The same of floors: the share of the hiss in the low quantile of a half cycle is less well known than its mean."""
NEARLY_OFF = 0.02
"""Where less than this share of the hiss, or of the background, is left of it, the level is that of air off."""
LOUD = 0.25
"""Hiss over background from which it is fitted a second time: -6 dB, where edges begin to be found."""
SLOPE_SPREAD = 0.3
"""Standard deviation of the share a(t) half-way up or down, over a(1 - a): 0.05 s of a slope of 0.15 s, or 15 % of a
decay's time constant."""
SURE_SIGMAS = 3.09
"""Where the lower end of what is claimed lies: one in a thousand."""
LEAST_POWER = 1e-3
"""Air over quiet power is never taken below -30 dB (as in the excess)."""
SCALES = (0.0, 0.2, 0.4, 0.6, 0.75, 0.87, 0.94, 0.975, 0.99, 0.997, 0.9995, 1.0)
"""Shares of probability between which the unknown size of the variance is taken as one value each: fine where it is
large, since that is what a false alarm of one in a thousand comes from."""


@dataclass(frozen=True, slots=True, eq=False)
class Locked:
    """What one or more switched takes at a point say."""

    contrast: Contrast
    """Air on against air off."""
    scatter: RoundDrift
    """In place of the round's drift: none, and how uncertain the covariances themselves are."""
    cycles: int
    """Cycles used."""
    left_out: tuple[int, ...]
    """Half cycles that stood out and were left out, counted from 0 (even: air off)."""
    quiet_db: float
    """Standard deviation of the level from one air-off half to the next, dB."""
    decay_s: float | None
    """Time constant of the hiss after shut-off, where the sound shows it."""
    found: bool
    """True where the switching is heard here; false where only the commands say when it was."""

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
    power = np.maximum(power, TINY)
    if common is not None:
        shop = np.interp(t_s, np.arange(len(common)) + 0.5, common)
        power = power * np.exp(-(shop - shop.mean()))[:, None]
    half = np.where(timeline.guarded(t_s), -1, timeline.halves(t_s))
    keep = (half >= 0) & _kept(power, half)
    weight = bandwidth_hz / bandwidth_hz.sum()
    out: list[int] = []
    while True:
        made = _blocks(power, t_s, half, keep, timeline)
        cycles = _cycles(made.half)
        if cycles < LEAST_CYCLES:
            return None
        worst = _standing_out(made, weight)
        if worst is None or len(out) + 1 > MOST_LEFT_OUT * (2 * timeline.cycles + 1):
            break
        out.append(worst)
        keep &= half != worst
    means = _fitted(made, weight, bandwidth_hz, timeline.period_s)
    floors_made = _floors(power, t_s, half, keep, timeline)
    m = floors_made
    floors = fit(m.y, m.share, m.t_s, m.seconds, timeline.period_s, weight, FLOOR_WALK * means.rho)
    spread = TEMPLATE_SPREAD[timeline.found]
    q_mean, a_mean, cov, silent = _pair(means, made, spread)
    q_floor, a_floor, floor_cov, floor_silent = _pair(floors, m, ROUGHER * spread)
    sure = 1e6  # what the covariances do not know stands in ``scatter``
    quiet = Group(q_mean, 0.5 * cov, q_floor, 0.5 * floor_cov, 0.0, sure)
    air = Group(a_mean, 0.5 * cov, a_floor, 0.5 * floor_cov, 0.0, sure)
    return Locked(
        Contrast(quiet, air, FLOOR_MEAN_CORRELATION, (silent, floor_silent)),
        RoundDrift(student(means.dof), student(floors.dof)),
        cycles,
        tuple(sorted(out)),
        _quiet_db(made, weight),
        timeline.decay_s,
        timeline.found,
    )


def student(dof: float) -> Drift:
    """No drift, and a variance known from ``dof`` degrees of freedom: a Student t as a mixture of normals."""
    from scipy.special import chdtri

    ends = np.array(SCALES)
    middle = 0.5 * (ends[1:] + ends[:-1])
    kappa = dof / chdtri(dof, middle)  # chdtri counts from above: large kappa at the end
    zeros = np.zeros(len(kappa))
    return Drift(kappa, zeros, zeros, np.diff(ends), 0)


@dataclass(frozen=True, slots=True, eq=False)
class _Made:
    """A series ready to be fitted."""

    y: NDArray[np.float64]
    share: NDArray[np.float64]
    t_s: NDArray[np.float64]
    seconds: NDArray[np.float64]
    half: NDArray[np.intp]
    quiet: NDArray[np.float64]
    """Power that ``y`` is relative to [shape=(B,)]."""


def _kept(power: NDArray[np.float64], half: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Frames that do not stand out above their own half cycle [shape=(T,)]: a steady leak cannot gate itself."""
    log_power = np.log(power)
    for h in np.unique(half):
        log_power[half == h] -= np.median(log_power[half == h], axis=0)
    return gate(log_power)


def _blocks(
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    half: NDArray[np.intp],
    keep: NDArray[np.bool_],
    timeline: Timeline,
) -> _Made:
    """Means over blocks that lie within one half cycle."""
    number = np.floor(t_s / BLOCK_S).astype(np.intp) * 1000 + half
    return _grouped(power, t_s, half, keep, timeline, number, LEAST_FRAMES, _mean)


def _floors(
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    half: NDArray[np.intp],
    keep: NDArray[np.bool_],
    timeline: Timeline,
) -> _Made:
    """Low quantiles over half cycles; knocks need no gate here, but a half cycle left out stays out."""
    usable = (half >= 0) & np.isin(half, np.unique(half[keep]))
    return _grouped(power, t_s, half, usable, timeline, half, 4 * LEAST_FRAMES, _quantile)


def _mean(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(x.mean(axis=0))


def _quantile(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.quantile(x, QUANTILE, axis=0))


def _grouped(
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    half: NDArray[np.intp],
    keep: NDArray[np.bool_],
    timeline: Timeline,
    number: NDArray[np.intp],
    least: int,
    reduce: Callable[[NDArray[np.float64]], NDArray[np.float64]],
) -> _Made:
    share = timeline.share(t_s)
    frame_s = float(t_s[1] - t_s[0])
    rows = [np.flatnonzero(keep & (number == i)) for i in np.unique(number[keep])]
    rows = [r for r in rows if len(r) >= least]
    if not rows:
        empty = np.empty(0)
        return _Made(np.empty((0, power.shape[1])), empty, empty, empty, np.empty(0, dtype=np.intp), power[0])
    reduced = np.stack([reduce(power[r]) for r in rows])
    groups = np.array([half[r[0]] for r in rows])
    a = np.array([float(reduce(share[r][:, None])[0]) for r in rows])
    off = groups % 2 == 0
    quiet = reduced[off].mean(axis=0) if off.any() else reduced.mean(axis=0)
    return _Made(
        reduced / quiet - 1.0,
        a,
        np.array([t_s[r].mean() for r in rows]),
        np.array([len(r) * frame_s for r in rows]),
        groups,
        quiet,
    )


def _cycles(half: NDArray[np.intp]) -> int:
    """Air-on halves that have an air-off half on at least one side."""
    have = set(half.tolist())
    return sum(h % 2 == 1 and bool({h - 1, h + 1} & have) for h in have)


def _fitted(made: _Made, weight: NDArray[np.float64], bandwidth_hz: NDArray[np.float64], period_s: float) -> Fit:
    """The fit, and a second one where the first finds so much hiss that it is most of the noise itself.

    Blocks with hiss scatter by its power too, and those on a slope by what the slope is not known.
    """
    first = fit(made.y, made.share, made.t_s, made.seconds, period_s, weight)
    h = max(float(weight @ first.h), 0.0)
    if h < LOUD:
        return first
    a, steady = made.share, 1.0 / (OVERLAP_EFFICIENCY * bandwidth_hz.sum())
    variance = steady * (1.0 + h * a) ** 2 / made.seconds + (SLOPE_SPREAD * h * a * (1.0 - a)) ** 2
    return fit(made.y, a, made.t_s, steady / variance, period_s, weight)


def _standing_out(made: _Made, weight: NDArray[np.float64]) -> int | None:
    """The half cycle that leaves the line through its like on both sides furthest, where it does so by too much."""
    halves = np.unique(made.half)
    level = {int(h): float(np.log(max((1.0 + made.y[made.half == h] @ weight).mean(), LEAST_POWER))) for h in halves}
    bend = {}
    for h, at in level.items():
        like = [level[n] for n in (h - 2, h + 2) if n in level]
        if like:
            bend[h] = at - sum(like) / len(like)
    if len(bend) < 5:
        return None
    sigma = 1.4826 * float(np.median(np.abs(list(bend.values()))))
    worst = max(bend, key=lambda h: abs(bend[h]))
    return worst if abs(bend[worst]) > STANDS_OUT * max(sigma, 1e-6) else None


def _pair(found: Fit, made: _Made, spread: float) -> tuple[NDArray[np.float64], ...]:
    """Quiet and air power per band; the covariance of the log of their ratio, as found and were there no hiss."""
    off = made.half % 2 == 0
    least = NEARLY_OFF / max(float(found.h.mean()), 1.0)
    if not (off & (made.share <= least)).any():
        least = float(np.quantile(made.share[off], 1 / 3))
    off &= made.share <= least
    base = np.maximum(1.0 + found.residual[off].mean(axis=0), LEAST_POWER)
    ratio = np.maximum(1.0 + found.h / base, LEAST_POWER)
    grown = base * np.maximum(ratio, 1.0)
    quiet = made.quiet * base
    mean = float(found.h.mean())  # of the template: bands err together
    silent = found.cov / np.outer(base, base)
    slope = _steeper(ratio - 1.0, np.sqrt(np.diag(silent))) / grown
    return quiet, quiet * ratio, (found.cov + (spread * mean) ** 2) * np.outer(slope, slope), silent


def _steeper(hiss: NDArray[np.float64], sigma: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much steeper the logarithm falls from what was found to the lower end of what is claimed than it is there.

    The slope where it was found alone would make a large error of a large chance hiss look small.
    """
    step = np.clip(np.minimum(SURE_SIGMAS * sigma, hiss), 1e-6, None)
    top = 1.0 + np.maximum(hiss, 1e-6)
    return np.asarray(-np.log1p(-step / top) / step * top)


def _quiet_db(made: _Made, weight: NDArray[np.float64]) -> float:
    off = [h for h in np.unique(made.half) if h % 2 == 0]
    if len(off) < 2:
        return 0.0
    level = np.array([(1.0 + made.y[made.half == h] @ weight).mean() for h in off])
    return float(np.std(np.log(np.maximum(level, LEAST_POWER)), ddof=1) / NEPER_PER_DB)
