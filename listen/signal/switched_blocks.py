"""A switched take in blocks that lie within one half cycle each; which half cycles stand out, and what was left out.

Symbols: T frames, B bands, n blocks of ``BLOCK_S``, K ways the edges may lie.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.take import MAD_TO_SIGMA, gate

BLOCK_S = 0.25
"""Short against a half cycle, long against a frame."""
LEAST_FRAMES = 3
"""A block with fewer frames kept says nothing."""
STANDS_OUT = 5.0
"""Robust standard deviations by which a half cycle leaves the line through its like before it is left out."""
LEAST_POWER = 1e-3
"""Air over quiet power is never taken below -30 dB (as in the excess)."""


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Blocks that lie within one half cycle each, ready to be fitted."""

    y: NDArray[np.float64]
    """Power over ``quiet``, less one [shape=(n, B)]."""
    share: NDArray[np.float64]
    """Share of the full hiss, as far as is known [shape=(n,)]."""
    shares: NDArray[np.float64]
    """The same, as each edge and decay that may be would make it [shape=(K, n)]."""
    t_s: NDArray[np.float64]
    seconds: NDArray[np.float64]
    half: NDArray[np.intp]
    quiet: NDArray[np.float64]
    """Mean power with the air off [shape=(B,)]."""


def unknocked(power: NDArray[np.float64], half: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Frames that do not stand out above their own half cycle [shape=(T,)]: a steady leak cannot gate itself."""
    log_power = np.log(power)
    for h in np.unique(half):
        # Each half by its own median: else all of the air-on halves would stand out of the rest.
        log_power[half == h] -= np.median(log_power[half == h], axis=0)
    return gate(log_power)


def blocks(
    power: NDArray[np.float64],
    t_s: NDArray[np.float64],
    half: NDArray[np.intp],
    keep: NDArray[np.bool_],
    shares: NDArray[np.float64],
) -> Blocks:
    """Means over blocks of kept frames; those with too few are left out.

    ``power`` [shape=(T, B)]; ``t_s``, ``half`` and ``keep`` [shape=(T,)]; of ``shares`` [shape=(1 + K, T)] the first is
    the one to fit.
    """
    # Blocks are cut at edges too: 1000 is more halves than any take has.
    rows = np.flatnonzero(keep)
    number = np.floor(t_s[rows] / BLOCK_S).astype(np.intp) * 1000 + half[rows]  # rises with time
    starts = np.flatnonzero(np.diff(number, prepend=-1))
    frames = np.diff(starts, append=len(rows))
    full = frames >= LEAST_FRAMES

    def means(series: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((np.add.reduceat(series[rows], starts, axis=0).T / frames).T[full])

    if not full.any():
        none = np.empty(0)
        return Blocks(np.empty((0, power.shape[1])), none, none, none, none, np.empty(0, dtype=np.intp), power[0])
    level, groups, by_share = means(power), half[rows[starts]][full], means(shares.T).T
    off = groups % 2 == 0
    # A scale only: without air-off halves any will do, nothing is read from such a take.
    quiet = level[off].mean(axis=0) if off.any() else level.mean(axis=0)
    seconds = frames[full] * float(t_s[1] - t_s[0])
    return Blocks(level / quiet - 1.0, by_share[0], by_share[1:], means(t_s), seconds, groups, quiet)


def cycles_in(half: NDArray[np.intp]) -> int:
    """Air-on halves, of those in ``half`` [shape=(n,)], that have an air-off half on at least one side."""
    have = set(half.tolist())
    # One neighbour will do: at an end, or beside a half that was left out, there is no other.
    return sum(h % 2 == 1 and bool({h - 1, h + 1} & have) for h in have)


def standing_out(made: Blocks, weight: NDArray[np.float64]) -> int | None:
    """The half cycle that leaves the line through its like on both sides furthest, where it does so by too much."""
    level = levels(made, weight)
    bend = {}
    for h, at in level.items():
        like = [level[n] for n in (h - 2, h + 2) if n in level]
        if like:
            bend[h] = at - sum(like) / len(like)
    # Of fewer nobody knows what is usual.
    if len(bend) < 5:
        return None
    sigma = MAD_TO_SIGMA * float(np.median(np.abs(list(bend.values()))))
    worst = max(bend, key=lambda h: abs(bend[h]))
    return worst if abs(bend[worst]) > max(STANDS_OUT * sigma, 1e-6) else None


def hidden_under_hiss(
    power: NDArray[np.float64], half: NDArray[np.intp], keep: NDArray[np.bool_], left_out: Collection[int]
) -> NDArray[np.float64]:
    """By how much more the knocks and clicks that were left out held with the air off than with it on [shape=(B,)].

    A loud hiss covers them up: they stand out of the quiet and are left out there, and count for hiss where it sounds.
    """
    # With and without the gate: the difference is what it took out.
    both = [(half >= 0) & (half % 2 == on) & ~np.isin(half, list(left_out)) for on in (0, 1)]
    off, on = (power[used].mean(axis=0) - power[used & keep].mean(axis=0) for used in both)
    return np.asarray(np.maximum(off - on, 0.0))


def levels(made: Blocks, weight: NDArray[np.float64]) -> dict[int, float]:
    """Log level of each half cycle over the mean with the air off, nepers, by band ``weight`` [shape=(B,)]."""
    level = 1.0 + made.y @ weight
    return {int(h): float(np.log(max(level[made.half == h].mean(), LEAST_POWER))) for h in np.unique(made.half)}
