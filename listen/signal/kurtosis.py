"""Spectral kurtosis: 1 for a steady Gaussian hiss, more for knocks and speech, less for a steady tone.

With M power estimates that do not overlap, S1 = sum of P and S2 = sum of P**2 over them [1]_::

    SK = (M + 1) / (M - 1) * (M * S2 / S1**2 - 1)

has expectation 1 for Gaussian noise whatever its level, and standard deviation 2/sqrt(M).

References
----------
.. [1] G. M. Nita and D. E. Gary, "The generalized spectral kurtosis estimator", MNRAS Letters 406, 2010.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from listen.errors import ClipError
from listen.signal.spectra import Spectra

THIRD_OCTAVE_EDGES_HZ = tuple(1000.0 * 10.0 ** ((n - 0.5) / 10) for n in range(14))
"""Edges of the third octaves 1-16 kHz, exact base-ten frequencies (IEC 61260-1)."""
MIN_FRAMES = 4
"""Fewer power estimates have no usable kurtosis."""


def spectral_kurtosis(spectra: Spectra, edges_hz: Sequence[float] = THIRD_OCTAVE_EDGES_HZ) -> NDArray[np.float64]:
    """Mean spectral kurtosis of the bins of each band [shape=(B,)]; NaN for a band without bins or without power.

    Parameters
    ----------
    spectra
        Of the clip; every second frame is used, so that frames do not overlap.
    edges_hz
        B + 1 rising band edges in Hz.

    Raises
    ------
    ClipError
        Fewer than ``MIN_FRAMES`` frames that do not overlap.
    """
    m = (spectra.frames + 1) // 2
    if m < MIN_FRAMES:
        raise ClipError(f"clip: {m} frames that do not overlap; spectral kurtosis needs at least {MIN_FRAMES}")
    low, high = np.searchsorted(spectra.freq_hz, (edges_hz[0], edges_hz[-1]))
    mean = spectra.mean_over(lambda power: power[:, low:high], every=2)
    usual, second, at = np.where(mean > 0, mean, np.nan), np.zeros(high - low), 0
    for power in spectra.blocks():
        scaled = power[-at % 2 :: 2, low:high] / usual
        at += len(power)
        second += np.einsum("tk,tk->k", scaled, scaled)
    per_bin = (m + 1) / (m - 1) * (second / m - 1)
    at = np.searchsorted(spectra.freq_hz, edges_hz) - low
    bands = pairwise(at)
    return np.array([per_bin[a:b].mean() if b > a else np.nan for a, b in bands])
