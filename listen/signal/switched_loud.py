"""A loud hiss of switched air, read where it has settled: no one curve says how a cylinder fills and empties.

While air escapes at the speed of sound (above 1.9 bar absolute) pressure falls exponentially, with a time constant of
V / (0.685 A sqrt(R K)) for a volume V and a leak A; below that ever faster. Hiss goes with its second to fifth power.
That constant, a tenth of a second to ten, is another in every cylinder, and of a small leak much is left when the air
comes on again: only before the air first came there was nothing.

Symbols: B bands, n half cycles with the air on, d their log power over that of the quiet beside them.
"""

import numpy as np
from numpy.typing import NDArray

from listen.signal.contrast import Contrast, Group
from listen.signal.drift import NEPER_PER_DB
from listen.signal.locked_fit import regular
from listen.signal.switched_blocks import BLOCK_S, LEAST_FRAMES, STANDS_OUT, hidden_under_hiss, unknocked
from listen.signal.switching import Timeline
from listen.signal.take import MAD_TO_SIGMA, TINY

LEAVES_DB = 1.0
"""By less than this no half cycle stands out, and nothing is called a rest of the hiss. Judgement: less moves no excess
of 2 dB and more by as much as its place does."""
ALIKE = 2.0
"""The rest is the same after each time the air was on: it lifts the later air-off halves over the first by more than
this many of their standard deviations among themselves..."""
SLACK = 1.5
"""...and it dies ever faster, so that what is left never exceeds what one exponential through its level on and just
after shut-off leaves; by so much it may seem to, since shut-off is known to 0.1 s. A shop that rose stays."""
SHUT_S = 1.0
"""Just after shut-off: so long."""
LEAST_STEPS = 4
"""From one block to the next within a half; fewer tell no band's restlessness."""
SHOP_DB = 0.5
"""A shop's drift, where the quiet before the air first came must stand for the whole take; as depths are stated for."""
STILL_DB = 0.1
"""No shop is known to be stiller than this from a few half cycles. Judgement; it moves no limit of a faint hiss."""


def read_settled(
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    timeline: Timeline,
    bandwidth_hz: NDArray[np.float64],
    faint: Contrast,
) -> tuple[Contrast, tuple[int, ...], float] | None:
    """Air on against air off where both have settled; which half cycles were left out; how restless the quiet was, dB.

    ``None`` where it was not louder each time on than any time off: a tool that comes and goes is loud by chance too.
    ``faint`` is what a fit of all there is says; other parameters as of ``switched.lock``.
    """
    weight = bandwidth_hz / bandwidth_hz.sum()
    # Levels are of the bands in which it hisses: in the others nothing of it is left, nor would be missed.
    share = np.maximum(1.0 - np.exp(-faint.rho), TINY)
    hissing = weight * share / float(weight @ share)
    half = np.where(timeline.settled(t_s), timeline.halves(t_s), -1)
    keep = (half >= 0) & unknocked(power, half)
    numbers, frames = np.unique(half[keep], return_counts=True)
    mean = {int(h): power[keep & (half == h)].mean(axis=0) for h in numbers[frames >= LEAST_FRAMES]}
    off, on = ([h for h in mean if h % 2 == odd] for odd in (0, 1))
    if len(on) < 2 or not off:
        return None
    # The earliest quiet: with luck from before the air first came.
    base = mean[off[0]]
    level = {h: float(np.log((mean[h] / base) @ hissing)) for h in mean}
    if min(level[h] for h in on) <= max(level[h] for h in off):
        return None
    later = [h for h in off if h > 0]
    rest = 0 in off and len(later) > 1 and _is_left_of_the_hiss(power / base @ hissing, t_s, timeline, level, later)
    # With the air off nothing is left out for being quiet: there the hiss has died, or something else has stopped.
    loud = {h for h in _standing_out({h: level[h] for h in off}) if level[h] > np.median([level[k] for k in off])}
    used = [0] if rest else [h for h in off if h not in loud]
    # Of each band the quiet at the time of each air-on half: between the air-off halves beside it.
    quiet = np.log([mean[h] for h in used])
    d = np.log([mean[h] for h in on]) - np.stack([np.interp(on, used, band) for band in quiet.T], axis=1)
    strange = _standing_out(dict(zip(on, (d @ hissing).tolist(), strict=True)))
    d = d[[h not in strange for h in on]]
    n = len(d)
    if n < 2:
        return None
    ratio, scatter = d.mean(axis=0), d - d.mean(axis=0)
    # n - 3 for n - 1: the mean of a few halves errs as a Student t does, whose variance is so much the larger.
    cov = regular(scatter.T @ scatter / (n * max(n - 3, 1)), n - 1, weight)
    moves = SHOP_DB if rest else STILL_DB
    cov = cov + (moves * NEPER_PER_DB) ** 2
    if rest:
        cov += np.diag(1.0 / (bandwidth_hz * BLOCK_S))
    # The last half is cut short, so that it is heard earlier, while more is left: not used, but nothing else sounded.
    left_out = tuple(sorted(strange if rest else strange | loud - {2 * timeline.cycles}))
    hidden = hidden_under_hiss(power, half, keep, left_out) / np.exp(quiet.mean(axis=0))
    hiss = np.maximum(np.expm1(ratio), 0.0)
    part = hidden * hiss / (1.0 + hiss) ** 2
    restless = float(np.std([level[h] for h in used], ddof=1)) if len(used) > 1 else SHOP_DB * NEPER_PER_DB
    # What would have been seen without a hiss: a curve that does not fit, or a hiss that is a little louder each time,
    # is no restlessness of the shop. Of a few air-off halves the scatter counts four times.
    still = (STILL_DB * NEPER_PER_DB) ** 2 + 8.0 / n * restless**2
    # Of switched takes it always stands beside the contrast.
    assert faint.silent is not None
    silent = as_in_the_quiet(faint.silent, power, t_s, np.where(keep & np.isin(half, used), half, -1))
    silent *= min(still, float(weight @ faint.silent @ weight)) / float(weight @ silent @ weight)
    at = np.exp(quiet.mean(axis=0))
    both = 0.5 * (cov + np.outer(part, part))
    quiet_group, air_group = (
        Group(p, both, p, both, g.spread, g.dof)
        for p, g in zip((at, at * np.exp(ratio)), (faint.quiet, faint.air), strict=True)
    )
    return Contrast(quiet_group, air_group, silent), left_out, restless / NEPER_PER_DB


def _is_left_of_the_hiss(
    level: NDArray[np.float64],
    t_s: NDArray[np.float64],
    timeline: Timeline,
    settled: dict[int, float],
    later: list[int],
) -> bool:
    """Whether what lifts the later air-off halves over the first is hiss that has not died: alike in all, and dying.

    ``level`` [shape=(T,)] is power over the first half's, ``settled`` the log of it by half.
    """
    lifts = np.array([settled[h] for h in later]) - settled[0]
    if lifts.mean() < max(LEAVES_DB * NEPER_PER_DB, ALIKE * float(lifts.std(ddof=1))):
        return False
    number = timeline.halves(t_s)
    since = t_s - np.concatenate([[-np.inf], timeline.edges_s])[number]
    dying = np.isin(number, later) & ~timeline.guarded(t_s)
    just_shut, late = dying & (since < SHUT_S), dying & timeline.settled(t_s)
    on = float(np.exp(np.mean([x for h, x in settled.items() if h % 2]) - settled[0])) - 1.0
    soon = min(max(float(level[just_shut].mean()) / float(np.exp(settled[0])) - 1.0, 0.0) / on, 1.0)
    bound = on * soon ** float(since[late].mean() / since[just_shut].mean())
    return bool(np.expm1(lifts).mean() <= SLACK * bound)


def as_in_the_quiet(
    silent: NDArray[np.float64],
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    half: NDArray[np.intp],
    part: float = 1.0,
) -> NDArray[np.float64]:
    """``silent`` [shape=(B, B)] with variances to each other as in the frames of a ``half`` [shape=(T,)] with air off,
    by a ``part`` of the way there: -1 for frames that are not used.

    Weights over bands are for a point without hiss: one of 20 dB in some bands would else be stated by the others.
    """
    block = np.floor(t_s / BLOCK_S).astype(np.intp)
    steps = []
    for h in set(half.tolist()) - {-1}:
        here = half == h
        level = np.log([power[here & (block == b)].mean(axis=0) for b in np.unique(block[here])])
        # From one block to the next: what drifts is no band's own.
        steps.append(np.diff(level, axis=0))
    if sum(map(len, steps)) < LEAST_STEPS:
        return silent.copy()
    factor = np.maximum((np.concatenate(steps) ** 2).mean(axis=0), TINY) / np.diag(silent)
    factor = np.sqrt(factor / np.median(factor)) ** part
    return np.asarray(silent * np.outer(factor, factor))


def _standing_out(level: dict[int, float]) -> set[int]:
    """Half cycles that leave the median of their like by too much."""
    away = np.abs(np.array(list(level.values())) - np.median(list(level.values())))
    most = max(STANDS_OUT * MAD_TO_SIGMA * float(np.median(away)), LEAVES_DB * NEPER_PER_DB)
    return {h for h, x in zip(level, away, strict=True) if x > most}
