"""Whitened hiss measured in the plainest way, apart from the program's own meter: band powers of whole clips."""

from __future__ import annotations

import numpy as np

from listen.signal.clip import Clip

CENTRES_HZ = 1000.0 * 10.0 ** (np.arange(13) / 10)


def band_powers(clip: Clip) -> np.ndarray:
    """Mean power per third octave, 1-16 kHz, of a whole clip."""
    power = np.abs(np.fft.rfft(clip.samples.astype(np.float64))) ** 2
    freq = np.fft.rfftfreq(len(clip.samples), 1 / clip.rate_hz)
    edges = [(c / 10**0.05, c * 10**0.05) for c in CENTRES_HZ]
    return np.array([power[(freq >= lo) & (freq < hi)].sum() for lo, hi in edges]) / len(clip.samples) ** 2


def whitened_db(quiets: list[Clip], air: Clip) -> float:
    """10 lg of the mean over bands of (air - quiet) / quiet."""
    quiet = np.mean([band_powers(q) for q in quiets], axis=0)
    return float(10 * np.log10(max(np.mean(band_powers(air) / quiet - 1), 1e-6)))
