"""Tones in a spectrum: compressor, fan, mains whine, or a whistle that comes with the air."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

HALF_WIDTH_BINS = 12
"""The level round a bin is the running median over 25 bins (0.6 kHz): wider than a Hann main lobe by six."""
TONE_RATIO = 2.0
"""A tone stands at least 3 dB above the level round it..."""
LASTING_DB = 1.5
"""What is called a whistle stands out by so much in the mean of levels too: 4 s of noise stray by 0.5 dB."""
WHISTLE_RATIO = 8.0
"""A whistle stands 9 dB above the level round it and above the quiet clip: resonances of ducts and tones of the shop
that drift stay below."""
TONE_SIGMA = 6.0
"""...and six standard deviations of a bin's mean power, so that long quiet clips find no tones in noise."""


def running_median(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Median over the neighbours within ``HALF_WIDTH_BINS``, edges mirrored [shape=(K,)]."""
    from scipy.ndimage import median_filter

    return np.asarray(median_filter(x, 2 * HALF_WIDTH_BINS + 1, mode="mirror"))


def tone_mask(mean_power: NDArray[np.float64], frames: int) -> NDArray[np.bool_]:
    """Bins that hold a tone [shape=(K,)], from the mean power over ``frames`` frames [shape=(K,)]."""
    ratio = mean_power / np.maximum(running_median(mean_power), 1e-30)
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
    level = np.maximum(running_median(air), quiet)
    return [int(k) for k in bins if air[k] > WHISTLE_RATIO * level[k]]


def new_tones_hz(
    air: NDArray[np.float64], quiet: NDArray[np.float64], frames: tuple[int, int], freq_hz: NDArray[np.float64]
) -> tuple[float, ...]:
    """Frequencies of tones that are in the air clip and not in the quiet clip, strongest first, in Hz."""
    ratio = air / np.maximum(running_median(air), 1e-30)
    fresh = tone_mask(air, frames[0]) & ~tone_mask(quiet, frames[1]) & (air > TONE_RATIO * quiet)
    peaks = [k for k in np.flatnonzero(fresh) if ratio[k] == ratio[max(k - 2, 0) : k + 3].max()]
    return tuple(float(freq_hz[k]) for k in sorted(peaks, key=lambda k: -ratio[k]))
