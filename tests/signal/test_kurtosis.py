"""Spectral kurtosis is 1 with its stated spread for Gaussian noise, below for a tone, above for what comes and goes."""

from __future__ import annotations

import numpy as np
import pytest

from listen.errors import ClipError
from listen.signal.clip import Clip
from listen.signal.quality_pair import THIRD_OCTAVE_EDGES_HZ, spectral_kurtosis
from listen.signal.spectra import spectra

RATE = 48_000
T = np.arange(4 * RATE) / RATE


def of(x: np.ndarray) -> np.ndarray:
    return spectral_kurtosis(spectra(Clip.of(x, RATE)))


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=4 * RATE) * 0.01


def stated_sd() -> np.ndarray:
    """Standard deviation by theory [shape=(13,)]: 4 M**2 / ((M - 1)(M + 2)(M + 3)) for one bin's variance.

    Under a Hann window bins 1 and 2 apart share 4/9 and 1/36 of their power, and the square of that of their kurtosis.
    """
    s = spectra(Clip.of(noise(0), RATE))
    m = len(s.power[::2])
    bins = np.diff(np.searchsorted(s.freq_hz, THIRD_OCTAVE_EDGES_HZ)) / (1 + 2 * ((4 / 9) ** 2 + (1 / 36) ** 2))
    return np.sqrt(4 * m**2 / ((m - 1) * (m + 2) * (m + 3)) / bins)


def test_gaussian_noise_has_one_and_the_stated_spread() -> None:
    runs = np.array([of(noise(seed)) for seed in range(40)])
    sd = stated_sd()
    assert runs.shape == (40, 13)
    assert np.abs(runs.mean(axis=0) - 1).max() < 4 * (sd / np.sqrt(40)).max()
    assert np.sqrt(np.mean((runs.std(axis=0) / sd) ** 2)) == pytest.approx(1.0, abs=0.15)


def test_the_level_of_the_noise_does_not_matter() -> None:
    np.testing.assert_allclose(of(noise(1) * 1e-3), of(noise(1)), rtol=1e-4)


def test_a_tone_lowers_its_band_and_comings_and_goings_raise_all() -> None:
    tone = of(noise(1) + 0.5 * np.sin(2 * np.pi * 4000 * T))
    plain = of(noise(1))
    assert tone[6] < plain[6] - 0.1
    np.testing.assert_allclose(np.delete(tone, [5, 6, 7]), np.delete(plain, [5, 6, 7]), atol=0.05)
    assert of(noise(1) * (1 + 4 * (T % 0.5 < 0.1))).min() > 2.0


def test_bands_without_bins_or_power_are_nan_and_short_clips_are_refused() -> None:
    s = spectra(Clip.of(noise(1), RATE))
    assert np.isnan(spectral_kurtosis(s, [1000.0, 1001.0, 1002.0])[0])
    assert np.isnan(of(np.zeros(4 * RATE))).all()
    with pytest.raises(ClipError, match="frames"):
        spectral_kurtosis(spectra(Clip.of(noise(1)[:5000], RATE)))
