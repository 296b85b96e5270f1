"""Several microphones on one input before air is fed: which was tapped, is dead, clips, or lies at another's place.

Symbols: n samples, C channels, K bands. A place is known by its low frequencies and its colour, which stay from one
cylinder to the next while the shop's own rise and fall is common to all channels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

EDGES_HZ = np.geomspace(60.0, 8000.0, 15)
"""Bands of a place's print; below 900 Hz lies most of what tells places apart (METHOD section 11)."""
PIECES = 6
"""The print is the median over so many pieces: a knock in one of them counts for nothing."""
DEAD_BELOW_DB = 30.0
"""A channel so far below the others' median hears nothing: open microphones in one bay differ by 10 to 15 dB."""
FULL, FULL_SAMPLES = 0.999, 4
"""So many samples at full scale clip; fewer may be one knock."""
SWAPPED_DB = 3.0
"""Two channels are swapped where each is nearer to the other's print by this (root mean square over bands)."""
TAP_S = 0.3
TAP_DB, TAP_APART_DB = 20.0, 6.0
"""A tap stands so far over its own channel's level, and over how far it does so in any other..."""
PEAK_DB = 12.0
"""...besides the peaks of steady noise over its level."""


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What the channels of one input heard while nobody did anything."""

    level_db: NDArray[np.float64]
    """dBFS [shape=(C,)]."""
    zeros: NDArray[np.bool_]
    """Nothing but zeros [shape=(C,)]."""
    clips: NDArray[np.bool_]
    """[shape=(C,)]."""
    print_db: NDArray[np.float64]
    """Level in each band [shape=(C, K)]."""


def heard(samples: NDArray[np.float32], rate_hz: int) -> Heard:
    """From a second or more of all channels [shape=(n, C)]."""
    # Whole pieces of one length: the few samples left over would not stack.
    pieces = np.stack(np.array_split(samples[: len(samples) // PIECES * PIECES], PIECES)).astype(np.float64)
    power = np.abs(np.fft.rfft(pieces, axis=1)) ** 2 / pieces.shape[1]
    at = np.searchsorted(np.arange(power.shape[1]) * (rate_hz / pieces.shape[1]), EDGES_HZ)
    # At least one bin: the lowest bands are narrower than the bins of a short piece.
    bands = np.stack([power[:, a : max(b, a + 1)].mean(axis=1) for a, b in pairwise(at)], axis=-1)
    return Heard(
        10 * np.log10(np.median((pieces**2).mean(axis=1), axis=0) + 1e-20),
        np.asarray(~samples.any(axis=0)),
        (np.abs(samples) >= FULL).sum(axis=0) >= FULL_SAMPLES,
        10 * np.log10(np.median(bands, axis=0) + 1e-20),
    )


def channel_faults(now: Heard, used: Sequence[int], before: NDArray[np.float64] | None = None) -> dict[int, str]:
    """What is wrong with a channel in use, by its number; ``before`` are prints of an earlier take [shape=(C, K)]."""
    out = {c: "sends nothing but zeros: unplugged or switched off" for c in used if now.zeros[c]}
    # A dead channel is nobody's like: counted in, it would pull the median that others are held against.
    alive = [c for c in used if c not in out]
    for c in alive:
        # Without its own level, which among two or three would pull the median to itself.
        others = float(np.median(now.level_db[[d for d in alive if d != c]])) if len(alive) > 1 else now.level_db[c]
        if now.clips[c]:
            out[c] = "is too loud and clips: turn its gain down"
        elif now.level_db[c] < others - DEAD_BELOW_DB:
            out[c] = f"hears {others - now.level_db[c]:.0f} dB less than the others: dead, or its gain is down"
    sure = [c for c in alive if c not in out]
    if before is None or before.shape != now.print_db.shape or len(sure) < 2:
        return out
    moved = now.print_db[sure] - before[sure]
    # What all channels have in common is the shop, not a place.
    shop = moved.mean(axis=0)
    for i, j in combinations(sure, 2):
        if _swapped(now.print_db - shop, before, i, j):
            out[i] = f"sounds like channel {j + 1} did, and that like this one: swapped plugs or places"
    return out


def _swapped(now: NDArray[np.float64], before: NDArray[np.float64], i: int, j: int) -> bool:
    def apart(a: int, b: int) -> float:
        return float(np.mean((now[a] - before[b]) ** 2))

    own, crossed = apart(i, i) + apart(j, j), apart(i, j) + apart(j, i)
    # And far nearer crossed than not: of two channels that both fit badly, one fits a little better by chance.
    return own - crossed > 2 * SWAPPED_DB**2 and crossed < 0.5 * own


def tapped(samples: NDArray[np.float32], rate_hz: int) -> int | None:
    """The channel whose microphone was tapped just now; from a second or more of all channels [shape=(n, C)]."""
    last = round(TAP_S * rate_hz)
    # Too little before the tap to know what is usual.
    if len(samples) < 3 * last:
        return None
    # The median: a tap a moment ago, or a knock, does not raise what this one is held against.
    usual = np.sqrt(np.median(samples[:-last].astype(np.float64) ** 2, axis=0)) + 1e-7
    over = 20 * np.log10(np.abs(samples[-last:]).max(axis=0) / usual + 1e-9)
    order = np.argsort(over)
    best = int(order[-1])
    apart = over[best] - over[order[-2]] if len(order) > 1 else np.inf
    return best if over[best] >= TAP_DB + PEAK_DB and apart >= TAP_APART_DB else None
