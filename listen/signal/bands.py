"""Third-octave bands of the hiss, 1 to 16 kHz, and the weights that sum spectrum bins into them.

Symbols: K bins, B = 13 bands. Midband frequencies are the exact base-ten ones of IEC 61260-1: 1000 x 10^(k/10) Hz,
edges at a factor 10^(1/20) either side.
"""

import numpy as np
from numpy.typing import NDArray

from listen.signal.spectra import Spectra

CENTRES_HZ: NDArray[np.float64] = 1000.0 * 10.0 ** (0.1 * np.arange(13, dtype=np.float64))
"""Midband frequencies [shape=(B,)], 1 to 15.85 kHz (nominal 16)."""
EDGE = 10.0**0.05
LOWER_HZ: NDArray[np.float64] = CENTRES_HZ / EDGE
UPPER_HZ: NDArray[np.float64] = CENTRES_HZ * EDGE
BANDWIDTH_HZ: NDArray[np.float64] = UPPER_HZ - LOWER_HZ
NYQUIST_SHARE = 0.92
"""Bins above this share of half the sample rate lie in the anti-alias filter's skirt of usual converters."""
MIN_LIVE_SHARE = 0.4
"""A band whose usable part is narrower than this share of it is left out."""
MAX_MASKED_SHARE = 0.5
"""At most this share of a band's bins may be masked as tones; beyond it no weight is moved, and the band is left out of
the point (:func:`drowned_bands`)."""


def live_bands(rate_hz: int, usable_hz: float) -> NDArray[np.bool_]:
    """Which bands carry sound, given the sample rate and the upper edge of the usable band [shape=(B,)]."""
    top = min(usable_hz, 0.5 * rate_hz * NYQUIST_SHARE)
    return np.asarray(np.clip(top - LOWER_HZ, 0.0, None) / BANDWIDTH_HZ >= MIN_LIVE_SHARE)


def band_weights(
    spectra: Spectra, usable_hz: float = np.inf, masked: NDArray[np.bool_] | None = None
) -> NDArray[np.float32]:
    """Weights W such that ``power @ W`` is the power in each band [shape=(K, B)].

    Bins on a band's edge count by their share inside it. A masked bin (a tone) is replaced by the mean of its nearest
    unmasked neighbours, so that band powers of clips with the same mask stay comparable.
    """
    half = 0.5 * spectra.rate_hz / spectra.frame
    low = np.maximum(spectra.freq_hz[:, None] - half, LOWER_HZ)
    top = min(usable_hz, 0.5 * spectra.rate_hz * NYQUIST_SHARE)
    high = np.minimum(np.minimum(spectra.freq_hz[:, None] + half, UPPER_HZ), top)
    weights = np.clip(high - low, 0.0, None) / (2.0 * half)
    if masked is not None and masked.any():
        weights = _move_masked(weights, masked)
    return np.asarray(weights, dtype=np.float32)


def drowned_bands(weights: NDArray[np.float32], masked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Bands so full of tones that nothing else can be read from them [shape=(B,)]; weights [shape=(K, B)] unmasked."""
    inside = weights > 0.5
    count = np.maximum(inside.sum(axis=0), 1)
    return np.asarray((inside & masked[:, None]).sum(axis=0) > MAX_MASKED_SHARE * count)


def _move_masked(weights: NDArray[np.float64], masked: NDArray[np.bool_]) -> NDArray[np.float64]:
    kept = np.flatnonzero(~masked)
    out = weights.copy()
    for k in np.flatnonzero(masked & (weights.sum(axis=1) > 0)):
        bands = weights[k] > 0
        inside = (weights[:, bands] > 0).any(axis=1)
        if masked[inside].mean() > MAX_MASKED_SHARE:
            continue
        i = int(np.searchsorted(kept, k))
        neighbours = kept[max(i - 1, 0) : i + 1]
        out[neighbours] += weights[k] / len(neighbours)
        out[k] = 0.0
    return out
