"""Finding in the sound when the air was switched: a level that goes between two heights, regularly, more than chance.

Symbols: z[i] power over the hiss bands relative to its usual size, a block of ``STEP_S`` each; lo and hi its two
heights. A timeline is returned only where the two stand clearly apart; weak hiss leaves the commands to go by.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from listen.signal.switching import RISE_S, USUAL_REACTION_S, Timeline, share_at
from listen.signal.take import MAD_TO_SIGMA

STEP_S = 0.1
"""No longer than the shortest reaction; four frames."""
SMOOTH_STEPS = 5
"""Running median: a knock of up to 0.2 s is no edge."""
CLICK_FRAMES, CLICK_RANK = 5, 1
"""The second lowest of five frames is the level between a ratchet's clicks, 14 to 24 a second of two frames each."""
LEAST_HALF_S = 0.8
"""Shorter visits to one height are no half cycle: a hand takes half a second to open the valve alone."""
APART = 6.0
"""Heights stand apart by at least so many robust standard deviations of a block about the one before it, and..."""
APART_DB = 0.4
"""...by so much (drift of 0.5 dB over a minute moves 0.1 dB from one half to the next)."""
MOST_UNEVEN = 0.5
"""Standard deviation of the periods over their mean: beyond it nobody switched, something came and went."""
MOST_TURNS = 0.6
"""Share of the commanded cycles that must be there: of four one may be missed, of six two."""
LATEST_S = (-0.3, 1.6)
"""Edges lie behind their commands by this, at the median: a hand's reaction, and half-way down a slow decay."""
SPREAD_S = 0.7
"""Half of what they may differ among themselves: an uneven hand's three standard deviations of 0.25 s."""
DECAYS_S: NDArray[np.float64] = np.geomspace(0.05, 5.0, 24)
"""Time constants tried after shut-off."""
LATE_S = tuple(0.1 * i for i in range(16))
"""By how much the passage half-way down may lie behind the shut-off."""
CLEAR = 5.0
"""The decay is told where the heights stand apart by so many standard deviations of what the fit leaves."""
Series = NDArray[np.float64]


def track(power: Series, t_s: Series, bandwidth_hz: Series) -> Series:
    """z from frame-band powers [shape=(T, B)]: blocks from the start of the take on [shape=(n,)]."""
    # The lower quarter is air off in any even cycle: each band is measured by its own quiet.
    usual = np.maximum(np.quantile(power, 0.25, axis=0), 1e-30)
    whole = _between_clicks((power / usual) @ (bandwidth_hz / bandwidth_hz.sum()))
    # A block without a frame is filled from those beside it.
    step = np.floor(t_s / STEP_S).astype(np.intp)
    count = np.bincount(step)
    z = np.bincount(step, whole) / np.maximum(count, 1)
    return np.asarray(np.where(count > 0, z, np.interp(np.arange(len(z)), np.flatnonzero(count), z[count > 0])))


def _between_clicks(level: Series) -> Series:
    from scipy.ndimage import rank_filter

    return np.asarray(rank_filter(level, CLICK_RANK, CLICK_FRAMES, mode="nearest"))


def centres_s(n: int) -> Series:
    """Centres of the first ``n`` blocks [shape=(n,)]."""
    return (np.arange(n, dtype=np.float64) + 0.5) * STEP_S


def find(z: Series, commanded: Timeline | None = None) -> Timeline | None:
    """Edges of the switching; ``None`` where none can be found, or none that goes with the commands."""
    smooth = _running_median(z)
    lo, hi = _heights(smooth)
    on = _long_visits(smooth > 0.5 * (lo + hi))
    if not _apart(smooth, on):
        return None
    opened, shut = _edges(smooth, on, 0.5 * (lo + hi))
    ours = _ours(opened, shut, commanded) if commanded is not None else not _uneven(opened, shut)
    if len(opened) < 2 or not ours:
        return None
    t_s = centres_s(len(z))
    told_s = commanded.told_s if commanded else ()
    # Half-way up an exponential rise is passed ln 2 of its time after the valve began to open.
    return _with_decay(z, t_s, Timeline(opened - RISE_S * np.log(2.0), shut, True, told_s=told_s))


def _running_median(z: Series) -> Series:
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(z, SMOOTH_STEPS, mode="nearest"))


def _heights(z: Series) -> tuple[float, float]:
    """Means of the lower and of the upper part, split half-way between them (Ridler & Calvard 1978)."""
    low = high = float(z.mean())
    # The split stands still after a few turns; thirty is only an end.
    for _ in range(30):
        above = z > 0.5 * (low + high)
        if not above.any():
            break
        low, high = float(z[~above].mean()), float(z[above].mean())
    return low, high


def _long_visits(on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Visits shorter than ``LEAST_HALF_S`` are given to what lies round them, the shortest first."""
    out = on.copy()
    least = round(LEAST_HALF_S / STEP_S)
    while True:
        edges = np.flatnonzero(np.diff(out.astype(np.int8))) + 1
        starts = np.concatenate([[0], edges, [len(out)]])
        lengths = np.diff(starts)
        if len(lengths) < 2 or lengths.min() >= least:
            return out
        i = int(np.argmin(lengths))
        out[starts[i] : starts[i + 1]] ^= True


def _apart(z: Series, on: NDArray[np.bool_]) -> bool:
    if on.all() or not on.any():
        return False
    low, high = float(np.median(z[~on])), float(np.median(z[on]))
    # From one block to the next: slow drift of the shop is no roughness.
    rough = MAD_TO_SIGMA * float(np.median(np.abs(np.diff(z[~on])))) if (~on).sum() > 1 else np.inf
    return high - low > APART * rough and 10.0 * np.log10(high / low) > APART_DB


def _edges(z: Series, on: NDArray[np.bool_], split: float) -> tuple[Series, Series]:
    """Times at which z passes half-way up and down, between two blocks; a take that begins or ends with air on lacks
    the edge there and gets the end of the take."""
    turns = np.flatnonzero(np.diff(on.astype(np.int8))) + 1
    before, rise = z[turns - 1], z[turns] - z[turns - 1]
    # On the straight line between two blocks: an edge is known to less than a block.
    part = np.clip(np.divide(split - before, rise, out=np.full(len(turns), 0.5), where=rise != 0.0), 0.0, 1.0)
    at_s = (turns - 0.5 + part) * STEP_S
    opened, shut = at_s[on[turns]], at_s[~on[turns]]
    return np.append([0.0], opened) if on[0] else opened, np.append(shut, len(z) * STEP_S) if on[-1] else shut


def _uneven(opened: Series, shut: Series) -> bool:
    """Whether on times or off times differ among themselves beyond what a hand does."""
    spans = [shut - opened, opened[1:] - shut[:-1]]
    return any(len(s) > 1 and float(s.std() / s.mean()) > MOST_UNEVEN for s in spans)


def _ours(opened: Series, shut: Series, commanded: Timeline) -> bool:
    """Whether the edges follow the commands: nearly all of them, each in its turn, after much the same time.

    What comes and goes by itself may be on for most of the commanded time; it does not keep step edge by edge.
    """
    late = [_late(found, told) for found, told in ((opened, commanded.opened_s), (shut, commanded.shut_s))]
    if any(len(x) < max(2, MOST_TURNS * commanded.cycles) for x in late) or len(opened) > commanded.cycles:
        return False
    return all(
        np.isfinite(x).all() and LATEST_S[0] <= np.median(x) <= LATEST_S[1] and np.ptp(x) <= 2 * SPREAD_S for x in late
    )


def _late(found: Series, told: Series) -> Series:
    """By how much each edge lies behind its command; infinite where two have the same [shape=(n,)]."""
    # To the nearest command, a hand's reaction later.
    which = np.array([int(np.argmin(np.abs(t - told - USUAL_REACTION_S))) for t in found], dtype=np.intp)
    late = found - told[which]
    return np.asarray(np.where(np.bincount(which, minlength=len(told))[which] > 1, np.inf, late))


def _with_decay(z: Series, t_s: Series, found: Timeline) -> Timeline:
    """Decay and shut-off that fit best together: half-way down is passed the later, the slower the decay."""
    trials = [
        replace(found, shut_s=np.maximum(found.shut_s - late, found.opened_s + STEP_S), decay_s=float(tau))
        for tau in DECAYS_S
        for late in LATE_S
        # Half-way down is passed after 0.69 time constants; what lies far from that is not tried.
        if 0.3 * tau - STEP_S <= late <= 0.8 * tau + STEP_S
    ]
    fits = [_misfit(z, share_at(t_s, t)) for t in trials]
    best = min(range(len(trials)), key=lambda i: fits[i][0])
    _, height, sigma = fits[best]
    # At an end of the grid it may as well be any faster, or any slower, one.
    inside = DECAYS_S[0] < (trials[best].decay_s or 0.0) < DECAYS_S[-1]
    told = height > CLEAR * sigma and inside
    return replace(trials[best], decay_s=trials[best].decay_s if told else None, clear=height / max(sigma, 1e-30))


def _misfit(z: Series, a: Series) -> tuple[float, float, float]:
    """Sum of squares left by a straight background and the switching, its height, and what is left a block."""
    # With a slope: a shop that swells over the take would else be taken for a slow decay.
    x = np.stack([np.ones_like(a), np.linspace(-1.0, 1.0, len(a)), a], axis=1)
    beta = np.linalg.lstsq(x, z, rcond=None)[0]
    left = z - x @ beta
    square = float(left @ left)
    return square, float(beta[2]), float(np.sqrt(square / len(z)))
