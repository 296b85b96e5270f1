"""The live level while the microphone is open: for the meter, and the excess over a quiet clip while it is moved about.

One short transform a feed, numpy only: this runs beside the recording and must cost next to nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import band_weights, live_bands
from listen.signal.clip import Clip
from listen.signal.spectra import Spectra, frame_length, spectra

CLIP_LEVEL = 0.99
"""Share of full scale that lights the clip light."""
SMOOTHING_S = 0.4
"""Time constant of the live excess: steady enough to read, quick enough to lead the hand."""
SILENCE_DBFS = -120.0
"""Shown for exact silence."""


@dataclass(frozen=True, slots=True)
class LiveLevel:
    """What the meter shows of the last blocks."""

    level_dbfs: float
    """Mean level of the blocks fed."""
    peak_dbfs: float
    clipped: bool
    excess_db: float | None
    """Smoothed whitened excess over the quiet spectrum; ``None`` without one."""


def quiet_spectrum(clip: Clip) -> NDArray[np.float64]:
    """Band powers of a quiet clip for :meth:`LiveMeter.set_quiet` [shape=(13,)]: medians over frames, dead bands 0."""
    s = spectra(clip)
    power = np.median(s.power @ band_weights(s), axis=0).astype(np.float64)
    return np.where(live_bands(clip.rate_hz, np.inf), power, 0.0)


class LiveMeter:
    """Turns blocks of samples into levels; keeps the last frame and a smoothed excess."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._frame = frame_length(rate_hz)
        self._window = np.sin(np.pi * np.arange(self._frame) / self._frame) ** 2
        # Scaled as spectra are: bins' powers sum to the mean square of the frame.
        self._window *= np.sqrt(2.0 / self._frame / np.sum(self._window**2))
        freq = np.arange(self._frame // 2 + 1, dtype=np.float64) * (rate_hz / self._frame)
        # Spectra of no frames: weights need its frequencies only.
        empty = np.zeros((0, len(freq)), dtype=np.float32)
        self._weights = band_weights(Spectra(empty, freq, rate_hz, self._frame, self._frame // 2))
        self._tail = np.zeros(self._frame, dtype=np.float64)
        self._quiet: NDArray[np.float64] | None = None
        self._smooth: NDArray[np.float64] | None = None

    def set_quiet(self, spectrum: NDArray[np.float64] | None) -> None:
        """Take a quiet clip's spectrum [shape=(13,)] as the zero of the excess, or none."""
        self._quiet, self._smooth = spectrum, None

    def feed(self, blocks: Sequence[NDArray[np.float32]]) -> LiveLevel:
        """Level of the blocks that have come since the last call [shape=(n,) each, full scales]."""
        x = np.concatenate(blocks).astype(np.float64) if blocks else np.zeros(0)
        if not x.size:
            return LiveLevel(SILENCE_DBFS, SILENCE_DBFS, False, None)
        peak = float(np.abs(x).max())
        # Blocks come in the sound card's own sizes; a frame is put together across them.
        self._tail = np.concatenate([self._tail, x])[-self._frame :]
        return LiveLevel(_db(float(np.mean(x**2))), _db(peak**2), peak >= CLIP_LEVEL, self._excess(len(x)))

    def _excess(self, samples: int) -> float | None:
        if self._quiet is None:
            return None
        spectrum = np.fft.rfft(self._tail * self._window)
        power = (spectrum.real**2 + spectrum.imag**2) @ self._weights
        # By the samples that came, not by calls: a busy screen asks less often.
        keep = np.exp(-samples / self._rate_hz / SMOOTHING_S)
        self._smooth = power if self._smooth is None else keep * self._smooth + (1.0 - keep) * power
        # Dead bands were handed over as nought, and nought is no divisor.
        live = self._quiet > 0.0
        if not live.any():
            return None
        return _db(float(np.mean(self._smooth[live] / self._quiet[live])))


def _db(power: float) -> float:
    return max(10.0 * float(np.log10(power)), SILENCE_DBFS) if power > 0.0 else SILENCE_DBFS
