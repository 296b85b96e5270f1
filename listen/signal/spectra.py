"""Short-time power spectra of one clip: computed once, read by everything that measures it.

Symbols: T frames, K bins, N samples a frame, H hop. Power is one-sided, scaled so that the sum over bins is the
mean square of a frame's samples (window power removed).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from listen.errors import ClipError
from listen.signal.clip import Clip

FRAME_S = 0.0427
"""Frame length aimed at: 2048 samples at 48 kHz. Long enough for 10 bins in the 1 kHz third octave, short enough
that a 10 ms knock spoils three frames only (METHOD section 2)."""


BLOCK_SAMPLES = 1 << 16
"""Samples transformed at once: they stay in the processor's cache."""


TINY = np.float32(1e-20)
"""Added to powers before logarithms: -200 dB, below any recorder."""


@dataclass(frozen=True, eq=False)
class Spectra:
    """Short-time power spectra of a clip; what several readers derive from them is computed once, when first asked."""

    power: NDArray[np.float32]
    """One-sided power per frame and bin, full scale squared [shape=(T, K)], read-only."""
    freq_hz: NDArray[np.float64]
    """Bin centre frequencies [shape=(K,)]."""
    rate_hz: int
    """Sample rate."""
    frame: int
    """N, samples a frame."""
    hop: int
    """H = N/2, samples between frames."""

    @property
    def frame_rate_hz(self) -> float:
        """Frames a second."""
        return self.rate_hz / self.hop

    @cached_property
    def level_db(self) -> NDArray[np.float32]:
        """Power in dB re full scale squared [shape=(T, K)]."""
        level: NDArray[np.float32] = np.log10(self.power + TINY)
        level *= np.float32(10.0)
        return level

    @cached_property
    def mean_level_db(self) -> NDArray[np.float32]:
        """Mean of the frames' levels [shape=(K,)]: the mean of logarithms, on which a knock weighs little."""
        return np.asarray(self.level_db.mean(axis=0))

    @cached_property
    def mean_power(self) -> NDArray[np.float64]:
        """Mean over frames [shape=(K,)]."""
        return np.asarray(self.power.mean(axis=0, dtype=np.float64))


def frame_length(rate_hz: int) -> int:
    """Frame length N in samples, the power of two nearest to ``FRAME_S``."""
    return int(2 ** round(np.log2(rate_hz * FRAME_S)))


@cache
def _hann(n: int) -> NDArray[np.float32]:
    w = np.sin(np.pi * np.arange(n) / n).astype(np.float32) ** 2
    return np.asarray(w / np.sqrt(np.sum(w.astype(np.float64) ** 2)), dtype=np.float32)


def spectra(clip: Clip) -> Spectra:
    """Hann frames at 50 % overlap (94.7 % of the information, Percival & Walden 1993, section 6).

    Raises
    ------
    ClipError
        The clip is shorter than two frames.
    """
    n = frame_length(clip.rate_hz)
    hop = n // 2
    if len(clip.samples) < n + hop:
        raise ClipError(
            f"{clip.name or 'clip'}: {clip.seconds:.3f} s long; at least {(n + hop) / clip.rate_hz:.3f} s is needed"
        )
    power = frame_power(clip.samples, _hann(n), hop)
    power *= np.float32(2.0 / n)
    power[:, 0] *= 0.5
    power[:, -1] *= 0.5
    power.flags.writeable = False
    freq = np.arange(power.shape[1], dtype=np.float64) * (clip.rate_hz / n)
    return Spectra(power, freq, clip.rate_hz, n, hop)


def frame_power(samples: NDArray[np.float32], window: NDArray[np.float32], hop: int) -> NDArray[np.float32]:
    """Squared magnitudes of windowed frames [shape=(T, N // 2 + 1)], a block of frames at a time.

    SciPy's transform keeps float32 and takes several frames at once: less than half the time of NumPy's.
    """
    from scipy.fft import rfft  # a quarter of a second of import, only when something is measured

    n = len(window)
    frames = np.lib.stride_tricks.sliding_window_view(samples, n)[::hop]
    power = np.empty((len(frames), n // 2 + 1), dtype=np.float32)
    step = max(1, BLOCK_SAMPLES // n)
    for i in range(0, len(frames), step):
        squares = rfft(frames[i : i + step] * window, axis=1, overwrite_x=True).view(np.float32)
        squares *= squares
        np.add(squares[:, ::2], squares[:, 1::2], out=power[i : i + step])
    return power
