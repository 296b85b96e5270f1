"""What a clip is known by beside its hiss: the room's sound low down, and the waveform it begins and ends with.

Low bands (60-900 Hz) hold the place more than the leak: they tell where a clip was taken. The phases of the first and
last third of a second are chance in any two recordings, while a copy keeps them through gain, offset, automatic gain,
coarser samples and a cut at one end. They are compared where they stand and at no other shift: a background that comes
again in another clip (a recording played in a loop, clips cut from one long take) is no copy.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Sound
from listen.signal.spectra import Spectra
from listen.signal.take import TakeBands
from listen.trade.points import Kind

PLACE_EDGES_HZ = (60.0, 110.0, 160.0, 210.0, 260.0, 330.0, 420.0, 540.0, 690.0, 900.0)
"""Two bins and more each at 48 kHz; above, leaks and ring packs begin."""
WIDE_EDGES_HZ = (900.0, 1400.0, 2240.0, 3550.0, 5600.0, 8900.0, 14100.0)
STRETCH_S = 0.25
"""Long enough for ten frames, of which a knock spoils three."""
LEAST_STRETCHES = 8
"""Of a clip below two seconds: shorter ones, so that something that begins within it still shows."""
END_S = 0.34
"""Of each end of a clip so much is kept, rounded to a power of two in samples: 2,400 bins between the edges."""
END_EDGES_HZ = (1000.0, 8000.0)
"""Above hum and engine orders, below where coders and voice filters cut; at 8 and 16 kHz what the rate holds."""


@dataclass(frozen=True, slots=True, eq=False)
class ClipPrint:
    """Marks of one clip, by which slips over a whole round are found."""

    kind: Kind
    rate_hz: int
    place_db: NDArray[np.float32]
    """Level of each place band, mean of the frames' levels [shape=(9,)]."""
    wide_db: NDArray[np.float32]
    """The same of the two-thirds octaves of the hiss that the rate holds [shape=(<=6,)]."""
    course_db: NDArray[np.float32]
    """Level of the same bands in stretches of ``STRETCH_S`` or shorter, medians over frames [shape=(J, <=6)]."""
    ends: NDArray[np.complex64]
    """Phases of the waveform's first and last ``END_S``, as numbers of size one [shape=(2, bins)]."""
    bands: TakeBands | None = None
    """What the judge has of this clip, to be left out with it."""


def clip_print(kind: Kind, clip: Sound, spectra: Spectra, usable_hz: float) -> ClipPrint:
    """Marks of one clip, from its ends and from spectra that are there already."""
    level = spectra.mean_level_db
    # A little below the foot of what a coder cut away, whose slope is neither sound nor floor.
    wide = tuple(f for f in WIDE_EDGES_HZ if f <= 0.97 * usable_hz)
    return ClipPrint(
        kind,
        spectra.rate_hz,
        _banded(level, spectra.freq_hz, PLACE_EDGES_HZ),
        _banded(level, spectra.freq_hz, wide),
        _course(spectra, wide),
        _ends(clip),
    )


def _banded(level: NDArray[np.float32], freq_hz: NDArray[np.float64], edges: Sequence[float]) -> NDArray[np.float32]:
    at = np.searchsorted(freq_hz, edges)
    # A low rate leaves the narrowest bands without a bin of their own: the nearest above stands in.
    return np.array([level[a:b].mean() if b > a else level[a] for a, b in pairwise(at)], dtype=np.float32)


def _course(spectra: Spectra, edges: Sequence[float]) -> NDArray[np.float32]:
    at = np.searchsorted(spectra.freq_hz, edges)
    # The last sum would run to the end of the spectrum: it is cut at the last edge.
    power = spectra.by_frame(lambda power: np.add.reduceat(power[:, : at[-1]], at[:-1], axis=1))
    count = min(max(LEAST_STRETCHES, int(len(power) / spectra.frame_rate_hz / STRETCH_S)), len(power))
    each = len(power) // count
    medians = np.median(power[: count * each].reshape(count, each, -1), axis=1)
    return np.asarray(10.0 * np.log10(medians + 1e-20), dtype=np.float32)


def _ends(clip: Sound) -> NDArray[np.complex64]:
    from scipy.fft import rfft  # keeps float32; only when something is measured

    n = int(2 ** round(np.log2(END_S * clip.rate_hz)))
    n = min(n, clip.frames)
    lo, hi = (int(f * n / clip.rate_hz) for f in END_EDGES_HZ)
    # Through a window, else the jump from the last sample to the first would fill every bin.
    both = np.stack([clip.part(0, n), clip.part(clip.frames - n, clip.frames)]) * np.hanning(n).astype(np.float32)
    # Up to nine tenths of half the rate: above lies the anti-alias filter, which is every recording's.
    bins = rfft(both, axis=1)[:, lo : min(hi, int(0.45 * n))]
    # Phases alone: a copy keeps them through any gain and filter, and no loud tone outweighs the rest.
    return np.asarray(bins / np.maximum(np.abs(bins), 1e-20), dtype=np.complex64)


def likeness(prints: Sequence[ClipPrint]) -> NDArray[np.float64]:
    """How alike the waveforms of all pairs are, begun or ended together: 1 for a copy, 0 by chance [shape=(n, n)].

    Mean cosine of the phases' difference over bins: correlation of the waveforms with all frequencies made equal
    (Knapp and Carter 1976), so that a tone or hum, which any two clips share, is a few bins and not the sum.
    Clips of other rates or much shorter than ``END_S`` are unlike.
    """
    # Nought until shown alike: clips of one shape only can be compared bin by bin.
    out = np.zeros((len(prints), len(prints)))
    for shape in {p.ends.shape for p in prints}:
        alike = [i for i, p in enumerate(prints) if p.ends.shape == shape]
        ends = np.stack([prints[i].ends for i in alike])
        both = [np.real(e @ e.conj().T) / max(1, shape[1]) for e in (ends[:, 0], ends[:, 1])]
        # Either end: a copy may be cut at the other.
        out[np.ix_(alike, alike)] = np.maximum(*both)
    rates = np.array([p.rate_hz for p in prints])
    # As many bins at another rate are other frequencies.
    out[rates[:, None] != rates[None, :]] = 0.0
    # A clip is no copy of itself.
    np.fill_diagonal(out, 0.0)
    return out
