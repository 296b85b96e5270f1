"""Protects the sounds inside a page: small, whole, and quiet and air at the same gain."""

from __future__ import annotations

import io

import numpy as np
import pytest

from listen.audio.player import mp3_bytes
from listen.signal.clip import Clip


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000, 96_000])
def test_an_mp3_comes_back_with_rate_length_and_level(rate_hz):
    import soundfile

    rng = np.random.default_rng(7)
    spectrum = np.fft.rfft(rng.normal(0, 1, rate_hz * 2))
    spectrum[6_000 * 2 :] = 0  # MP3 drops the highest octave of white noise; shop noise lies lower
    noise = np.fft.irfft(spectrum)
    clip = Clip.of(0.01 * noise / noise.std(), rate_hz)
    data = mp3_bytes(clip, gain_db=20)
    assert len(data) < 0.35 * 3 * rate_hz * 2  # a third of 24-bit samples
    samples, rate = soundfile.read(io.BytesIO(data), dtype="float32")
    assert rate == min(rate_hz, 48_000)
    assert len(samples) / rate == pytest.approx(clip.seconds, abs=0.1)
    assert 20 * np.log10(samples.std() / 0.01) == pytest.approx(20, abs=1.0)


def test_what_would_exceed_full_scale_is_held_there():
    import soundfile

    clip = Clip.of(np.full(48_000, 0.5, dtype=np.float32), 48_000)
    samples, _ = soundfile.read(io.BytesIO(mp3_bytes(clip, gain_db=40)), dtype="float32")
    assert np.abs(samples[2_000:-2_000]).max() < 1.2
