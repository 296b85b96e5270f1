"""What a clip is known by beside its hiss: the room's sound low down, and the texture of its noise from frame to frame.

Low bands (60-900 Hz) hold the place more than the leak: they tell where a clip was taken. The texture is the frame-band
level less its mean over frames and over bands: chance in Gaussian noise, so that no two recordings share it, while
gain, offset, automatic gain, a coder and a cut leave it as it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import CENTRES_HZ, EDGE
from listen.signal.spectra import Spectra
from listen.trade.points import Kind

PLACE_EDGES_HZ = (60.0, 110.0, 160.0, 210.0, 260.0, 330.0, 420.0, 540.0, 690.0, 900.0)
"""Two bins and more each at 48 kHz; above, leaks and ring packs begin."""
WIDE_EDGES_HZ = (900.0, 1400.0, 2240.0, 3550.0, 5600.0, 8900.0, 14100.0)
STRETCH_S = 0.25
"""Long enough for ten frames, of which a knock spoils three."""
MIN_OVERLAP = 0.5
"""Copies are looked for at all shifts that leave this share of the shorter clip."""
MOST_HELD = 1 << 21
"""Values of all textures together, padded, up to which their transforms are kept (17 MB); beyond, made again a pair."""
PEAK_FRAMES = 3
"""Frames about the best shift that belong to it (Hann frames overlap by half)."""


@dataclass(frozen=True, slots=True, eq=False)
class ClipPrint:
    """One clip's marks."""

    kind: Kind
    rate_hz: int
    place_db: NDArray[np.float32]
    """Level of each place band, mean of the frames' levels [shape=(9,)]."""
    wide_db: NDArray[np.float32]
    """The same of the two-thirds octaves of the hiss that the rate holds [shape=(<=6,)]."""
    course_db: NDArray[np.float32]
    """Level of the same bands in stretches of ``STRETCH_S``, medians over frames [shape=(J, <=6)]."""
    place_course_db: NDArray[np.float32]
    """Level of the place bands together, likewise [shape=(J,)]."""
    texture: NDArray[np.float32]
    """[shape=(T, bands)], mean zero over both, mean square one."""


def clip_print(kind: Kind, spectra: Spectra, usable_hz: float) -> ClipPrint:
    """Marks of one clip, from spectra that are there already."""
    level = spectra.mean_level_db
    wide = tuple(f for f in WIDE_EDGES_HZ if f <= 0.97 * usable_hz)
    return ClipPrint(
        kind,
        spectra.rate_hz,
        _banded(level, spectra.freq_hz, PLACE_EDGES_HZ),
        _banded(level, spectra.freq_hz, wide),
        _course(spectra, wide),
        _course(spectra, (PLACE_EDGES_HZ[0], PLACE_EDGES_HZ[-1]))[:, 0],
        _texture(spectra, usable_hz),
    )


def _banded(level: NDArray[np.float32], freq_hz: NDArray[np.float64], edges: Sequence[float]) -> NDArray[np.float32]:
    at = np.searchsorted(freq_hz, edges)
    return np.array([level[a:b].mean() if b > a else level[a] for a, b in pairwise(at)], dtype=np.float32)


def _course(spectra: Spectra, edges: Sequence[float]) -> NDArray[np.float32]:
    at = np.searchsorted(spectra.freq_hz, edges)
    power = spectra.by_frame(lambda power: np.add.reduceat(power[:, : at[-1]], at[:-1], axis=1))
    count = max(1, int(len(power) / spectra.frame_rate_hz / STRETCH_S))
    each = len(power) // count
    medians = np.median(power[: count * each].reshape(count, each, -1), axis=1)
    return np.asarray(10.0 * np.log10(medians + 1e-20), dtype=np.float32)


def _texture(spectra: Spectra, usable_hz: float) -> NDArray[np.float32]:
    edges = np.append(CENTRES_HZ / EDGE, CENTRES_HZ[-1] * EDGE)
    at = np.searchsorted(spectra.freq_hz, edges[edges <= min(usable_hz, spectra.freq_hz[-1])])
    x = spectra.by_frame(lambda power: np.log(np.add.reduceat(power[:, : at[-1]], at[:-1], axis=1) + 1e-20))
    x -= x.mean(axis=0)
    x -= x.mean(axis=1, keepdims=True)
    # A knock must not outweigh the noise it falls in.
    x = np.clip(x, *(np.quantile(x, (0.1, 0.9)) if x.size else (0.0, 0.0)))
    return np.asarray(x / max(float(np.sqrt(np.mean(x * x))), 1e-9), dtype=np.float32)


def likeness(prints: Sequence[ClipPrint]) -> NDArray[np.float64]:
    """How alike the textures of all pairs are at their best shift: 1 for a copy, about 0 by chance [shape=(n, n)].

    Where other shifts do as well (a pump's beat), what they reach is taken off. Clips of other rates are unlike.
    """
    out = np.zeros((len(prints), len(prints)))
    if not prints:
        return out
    size = int(2 ** np.ceil(np.log2(2 * max(len(p.texture) for p in prints))))
    keep = size * sum(p.texture.shape[1] for p in prints) <= MOST_HELD
    held = [np.fft.rfft(p.texture, size, axis=0) for p in prints] if keep else []
    for i, a in enumerate(prints):
        own = held[i] if held else np.fft.rfft(a.texture, size, axis=0)
        for j, b in enumerate(prints[:i]):
            bands = min(a.texture.shape[1], b.texture.shape[1])
            if a.rate_hz != b.rate_hz or not bands:
                continue
            other = held[j] if held else np.fft.rfft(b.texture, size, axis=0)
            product = (own[:, :bands] * np.conj(other[:, :bands])).sum(axis=1)
            sums = np.fft.irfft(product, size)
            out[i, j] = out[j, i] = _stands_out(sums / bands, len(a.texture), len(b.texture))
    return out


def _stands_out(sums: NDArray[np.float64], a: int, b: int) -> float:
    """Best correlation over shifts, less the best that a shift far from it reaches."""
    shift = np.arange(len(sums))
    shift = np.where(shift > len(sums) // 2, shift - len(sums), shift)
    overlap = np.minimum(a, b + shift) - np.maximum(0, shift)
    held = overlap >= MIN_OVERLAP * min(a, b)
    r = np.where(held, sums / np.maximum(overlap, 1), 0.0)
    best = int(np.argmax(r))
    away = np.abs(shift - shift[best]) > PEAK_FRAMES
    return float(r[best] - max(0.0, float(r[away].max(initial=0.0))))
