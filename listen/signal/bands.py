"""Third-octave bands of the hiss, 1 to 16 kHz, and the weights that sum spectrum bins into them;
and tones in a spectrum: compressor, fan, mains whine, or a whistle that comes with the air.

Symbols: K bins, B = 13 bands. Midband frequencies are the exact base-ten ones of IEC 61260-1: 1000 x 10^(k/10) Hz,
edges at a factor 10^(1/20) either side.
"""

from collections.abc import Sequence

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
    # Whichever ends first: what a coder cut away, or what the converter's own filter lets through.
    top = min(usable_hz, 0.5 * rate_hz * NYQUIST_SHARE)
    return np.asarray(np.clip(top - LOWER_HZ, 0.0, None) / BANDWIDTH_HZ >= MIN_LIVE_SHARE)


def band_weights(
    spectra: Spectra, usable_hz: float = np.inf, masked: NDArray[np.bool_] | None = None
) -> NDArray[np.float32]:
    """Weights W such that ``power @ W`` is the power in each band up to ``usable_hz`` [shape=(K, B)].

    Bins on a band's edge count by their share inside it. A bin of ``masked`` [shape=(K,)], a tone, is replaced by the
    mean of its nearest unmasked neighbours, so that band powers of clips with the same mask stay comparable.
    """
    # A bin covers half a step to either side of its centre.
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
    # Bins that lie mostly in the band: a tone in an edge bin is half the neighbour's.
    inside = weights > 0.5
    count = np.maximum(inside.sum(axis=0), 1)
    return np.asarray((inside & masked[:, None]).sum(axis=0) > MAX_MASKED_SHARE * count)


def _move_masked(weights: NDArray[np.float64], masked: NDArray[np.bool_]) -> NDArray[np.float64]:
    kept = np.flatnonzero(~masked)
    out = weights.copy()
    for k in np.flatnonzero(masked & (weights.sum(axis=1) > 0)):
        # An edge bin belongs to two bands: both must have neighbours enough.
        bands = weights[k] > 0
        inside = (weights[:, bands] > 0).any(axis=1)
        # Too few neighbours are left to stand for the rest; such a band is told as drowned and not used.
        if masked[inside].mean() > MAX_MASKED_SHARE:
            continue
        i = int(np.searchsorted(kept, k))
        # One kept bin below and one above; at an end of the spectrum there is one only.
        neighbours = kept[max(i - 1, 0) : i + 1]
        out[neighbours] += weights[k] / len(neighbours)
        out[k] = 0.0
    return out


HALF_WIDTH_BINS = 12
"""The level round a bin is the running median over 25 bins (0.6 kHz): wider than a Hann main lobe by six."""
TONE_RATIO = 2.0
"""A tone stands at least 3 dB above the level round it..."""
TONE_SIGMA = 6.0
"""...and six standard deviations of a bin's mean power, so that long quiet clips find no tones in noise."""
LASTING_DB = 1.5
"""What is called a whistle stands out by so much in the mean of levels too: 4 s of noise stray by 0.5 dB."""
WHISTLE_RATIO = 8.0
"""A whistle stands 9 dB above the level round it and above the quiet clip: resonances of ducts and tones of the shop
that drift stay below."""


def running_median(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median over the neighbours within ``HALF_WIDTH_BINS``, edges mirrored [shape=(K,)]."""
    # Loaded when something is measured: nothing heavy is imported before it is needed.
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(x, 2 * HALF_WIDTH_BINS + 1, mode="mirror"))


def tone_mask(mean_power: NDArray[np.float64], frames: int) -> NDArray[np.bool_]:
    """Bins that hold a tone [shape=(K,)], from the mean power over ``frames`` frames [shape=(K,)]."""
    # Digital silence on both sides is no ratio.
    ratio = mean_power / np.maximum(running_median(mean_power), 1e-30)
    # Of few frames a mean scatters by more than a ratio of two; of many the ratio is the stricter.
    limit = max(TONE_RATIO, 1.0 + TONE_SIGMA / np.sqrt(max(frames, 1)))
    peaks = ratio > limit
    # A Hann main lobe is four bins wide: the bins beside a peak carry the tone too.
    beside = ratio > 1.0 + 0.5 * (limit - 1.0)
    mask = peaks.copy()
    mask[1:] |= peaks[:-1] & beside[1:]
    mask[:-1] |= peaks[1:] & beside[:-1]
    return np.asarray(mask)


def lasting_tones(mean_level_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Bins that stand out most of the time [shape=(K,)], from the mean over frames of the level in dB [shape=(K,)].

    A knock fills one frame with power at random; it hardly moves a mean of levels.
    """
    return np.asarray(mean_level_db - running_median(mean_level_db) > LASTING_DB)


def whistles(air: NDArray[np.float64], quiet: NDArray[np.float64], bins: Sequence[int] | NDArray[np.intp]) -> list[int]:
    """Those bins of new tones that hold a whistle, from mean powers [shape=(K,)]."""
    # Against the quiet clip as well: a tone of the shop that grew a little is none of the air's.
    level = np.maximum(running_median(air), quiet)
    return [int(k) for k in bins if air[k] > WHISTLE_RATIO * level[k]]


def new_tones_hz(
    air: NDArray[np.float64], quiet: NDArray[np.float64], frames: tuple[int, int], freq_hz: NDArray[np.float64]
) -> tuple[float, ...]:
    """Hz of tones in the air clip and not in the quiet one, strongest first, from mean powers [shape=(K,)] over so many
    ``frames`` each.
    """
    ratio = air / np.maximum(running_median(air), 1e-30)
    # The plain ratio too: a tone of the shop near the mask's limit is in one clip and not in the other by chance.
    fresh = tone_mask(air, frames[0]) & ~tone_mask(quiet, frames[1]) & (air > TONE_RATIO * quiet)
    # One tone lights up the bins of a Hann lobe: the highest stands for it.
    peaks = [k for k in np.flatnonzero(fresh) if ratio[k] == ratio[max(k - 2, 0) : k + 3].max()]
    return tuple(float(freq_hz[k]) for k in sorted(peaks, key=lambda k: -ratio[k]))
