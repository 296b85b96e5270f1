"""The live meter: level, clip light and excess follow the sound within a fraction of a second."""

import numpy as np
import pytest
from sounds import RATE_HZ, clip, noise

from listen.signal.live import LiveMeter, quiet_spectrum


def blocks(x):
    return [b.astype(np.float32) for b in np.array_split(x, max(len(x) // 1920, 1))]


def test_level_and_clip_light():
    meter = LiveMeter(RATE_HZ)
    x = noise(1, seconds=0.5, level=0.02)
    got = meter.feed(blocks(x))
    assert got.level_dbfs == pytest.approx(10 * np.log10(np.mean(x**2)), abs=0.01)
    assert got.peak_dbfs == pytest.approx(20 * np.log10(np.abs(x).max()), abs=0.01)
    assert not got.clipped
    assert got.excess_db is None
    assert meter.feed([np.full(480, 1.0, dtype=np.float32)]).clipped


def test_excess_is_zero_on_the_quiet_and_follows_a_hiss():
    meter = LiveMeter(RATE_HZ)
    meter.set_quiet(quiet_spectrum(clip(noise(1))))
    for b in blocks(noise(2, seconds=3)):
        calm = meter.feed([b])
    for b in blocks(noise(3, seconds=2) + 2 * noise(4, seconds=2)):
        loud = meter.feed([b])
    assert calm.excess_db == pytest.approx(0.0, abs=0.8)
    assert loud.excess_db == pytest.approx(7.0, abs=0.8)


def test_nothing_fed_is_silence_not_an_error():
    assert LiveMeter(RATE_HZ).feed([]).level_dbfs == -120.0
    assert LiveMeter(8000).feed([np.zeros(100, dtype=np.float32)]).peak_dbfs == -120.0
