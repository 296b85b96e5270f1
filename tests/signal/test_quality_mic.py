"""The microphone check says good, usable or not usable, each for the right reason."""

from __future__ import annotations

import numpy as np

from listen.signal.clip import Clip
from listen.signal.quality_mic import MicReport, check_microphone
from listen.signal.spectra import spectra

RATE = 48_000


def report(x: np.ndarray, rate_hz: int = RATE) -> MicReport:
    clip = Clip.of(x, rate_hz)
    return check_microphone(clip, spectra(clip))


def noise(rate_hz: int = RATE, edge_hz: float = 1e9) -> np.ndarray:
    n = rate_hz * 4
    spectrum = np.fft.rfft(np.random.default_rng(3).normal(size=n) * 0.01)
    spectrum[np.fft.rfftfreq(n, 1 / rate_hz) > edge_hz] = 0
    return np.fft.irfft(spectrum, n) + np.random.default_rng(4).normal(size=n) * 1e-6


def test_a_plain_microphone_is_good_to_16_khz() -> None:
    r = report(noise())
    assert (r.verdict, r.signs, r.clipped, r.rate_hz) == ("good", (), False, RATE)
    assert r.text == "Good for hiss to 16 kHz."
    assert abs(r.floor_dbfs - -40.2) < 0.7  # white noise at -40 dBFS, of which 23/24 lie above 1 kHz


def test_a_low_rate_is_usable_with_a_note() -> None:
    r = report(noise(16_000), 16_000)
    assert r.verdict == "usable"
    assert "48000" in r.text
    assert r.bandwidth_hz == 8_000


def test_a_call_channel_is_not_usable() -> None:
    r = report(noise(edge_hz=7_000))
    assert r.verdict == "not-usable"
    assert r.text.startswith("Not usable, because")
    assert abs(r.bandwidth_hz - 7_000) < 300


def test_clipping_is_told() -> None:
    r = report(np.clip(noise() * 200, -1, 1))
    assert r.clipped
    assert r.verdict == "not-usable"


def test_an_unsteady_shop_is_not_the_microphones_fault() -> None:
    t = np.arange(RATE * 4) / RATE
    assert report(noise() * 10 ** (np.sin(2 * np.pi * 0.4 * t) * 6 / 20)).verdict == "good"


def test_a_silent_input_is_not_usable_and_all_numbers_are_finite() -> None:
    r = report(np.zeros(RATE * 4))
    assert r.verdict == "not-usable"
    assert np.isfinite([r.floor_dbfs, r.bandwidth_hz]).all()
