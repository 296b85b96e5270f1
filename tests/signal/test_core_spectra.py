"""Spectra and bands keep power: what goes in as sound comes out as numbers, whatever the rate."""

import numpy as np
import pytest
from sounds import RATE_HZ, clip, noise

from listen.errors import ClipError
from listen.signal.bands import CENTRES_HZ, LOWER_HZ, UPPER_HZ, band_weights, live_bands, new_tones_hz, tone_mask
from listen.signal.clip import Clip
from listen.signal.spectra import spectra


def test_power_over_bins_is_the_mean_square_of_the_samples():
    x = noise(1)
    s = spectra(clip(x))
    assert s.power.sum(axis=1).mean() == pytest.approx(np.mean(x**2), rel=0.02)


@pytest.mark.parametrize("rate_hz", [32_000, 44_100, 48_000, 96_000, 192_000])
def test_a_band_holds_the_power_that_white_noise_has_there_at_any_rate(rate_hz):
    x = 0.1 * np.random.default_rng(2).standard_normal(2 * rate_hz)
    s = spectra(clip(x, rate_hz))
    power = (s.power @ band_weights(s)).mean(axis=0)
    expected = 0.1**2 * (UPPER_HZ - LOWER_HZ) / (rate_hz / 2)
    live = live_bands(rate_hz, np.inf) & (0.46 * rate_hz > UPPER_HZ)
    assert live.sum() >= 11
    assert power[live] == pytest.approx(expected[live], rel=0.12)


@pytest.mark.parametrize("band", [0, 6, 12])
def test_a_sine_is_counted_in_its_own_band_only(band):
    t = np.arange(RATE_HZ * 2) / RATE_HZ
    s = spectra(clip(0.5 * np.sin(2 * np.pi * CENTRES_HZ[band] * t)))
    power = (s.power @ band_weights(s)).mean(axis=0)
    assert power[band] == pytest.approx(0.125, rel=0.02)
    assert np.delete(power, band).max() < 1e-4 * power[band]


def test_bands_above_the_usable_edge_are_not_live():
    assert not live_bands(16_000, np.inf)[CENTRES_HZ > 8000].any()
    assert live_bands(48_000, np.inf).all()
    assert live_bands(48_000, 12_000.0).sum() == 11  # half of the 12.5 kHz band is left: it still counts


def test_a_tone_is_masked_and_its_band_keeps_the_noise_it_had():
    x = noise(3)
    t = np.arange(len(x)) / RATE_HZ
    with_tone = spectra(clip(x + 0.02 * np.sin(2 * np.pi * 3170 * t)))
    without = spectra(clip(x))
    mask = tone_mask(with_tone.power.mean(axis=0, dtype=float), len(with_tone.power))
    assert 1 <= mask[20:].sum() <= 6
    clean = (without.power @ band_weights(without)).mean(axis=0)
    masked = (with_tone.power @ band_weights(with_tone, masked=mask)).mean(axis=0)
    assert 10 * np.log10(masked / clean) == pytest.approx(np.zeros(13), abs=0.5)


def test_noise_alone_holds_no_tones():
    for seed in range(20):
        s = spectra(clip(noise(seed, seconds=2.5)))
        assert not tone_mask(s.power.mean(axis=0, dtype=float), len(s.power))[20:].any()


def test_a_whistle_with_the_air_is_named_by_its_frequency():
    x = noise(4)
    t = np.arange(len(x)) / RATE_HZ
    quiet, air = spectra(clip(x)), spectra(clip(noise(5) + 0.01 * np.sin(2 * np.pi * 5200 * t)))
    means = [s.power.mean(axis=0, dtype=float) for s in (air, quiet)]
    found = new_tones_hz(means[0], means[1], (len(air.power), len(quiet.power)), air.freq_hz)
    assert len(found) == 1
    assert found[0] == pytest.approx(5200, abs=30)


def test_a_clip_too_short_for_two_frames_is_refused_with_its_length():
    with pytest.raises(ClipError, match=r"0\.050 s long; at least 0\.064 s"):
        spectra(clip(noise(1, seconds=0.05)))


@pytest.mark.parametrize(
    ("samples", "rate_hz", "word"),
    [
        ([], 48_000, "no samples"),
        ([[0.0, 1.0]], 48_000, "2-dimensional"),
        ([0.0, float("nan")], 48_000, "sample 1 is not a finite number"),
        ([0.0, float("inf")], 48_000, "sample 1"),
        ([0.0] * 9, 4000, "sample rate 4000 Hz; from 8000 to 192000 Hz"),
    ],
)
def test_what_is_no_clip_is_refused_in_one_sentence(samples, rate_hz, word):
    with pytest.raises(ClipError, match=word):
        Clip.of(samples, rate_hz)


def test_a_clip_cannot_be_changed_and_does_not_share_its_source():
    x = np.zeros(100, dtype=np.float32)
    c = Clip.of(x, RATE_HZ)
    x[0] = 1.0
    assert c.samples[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        c.samples[0] = 1.0
