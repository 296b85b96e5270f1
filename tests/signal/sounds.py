"""Made sounds for the tests of the signal room: seeded noise, hiss on top of it, knocks."""

from __future__ import annotations

import numpy as np

from listen.signal.clip import Clip

RATE_HZ = 48_000


def noise(seed: int, seconds: float = 4.0, level: float = 0.01, slope: float = -0.5, rate_hz: int = RATE_HZ):
    """Gaussian noise whose amplitude goes as frequency to the power of ``slope``, of root mean square ``level`` in the
    hiss bands, 0.9 to 17.8 kHz."""
    n = round(seconds * rate_hz)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(n))
    f = np.fft.rfftfreq(n, 1 / rate_hz)
    f[0] = f[1]
    spectrum *= (f / 1000) ** slope
    inside = (f >= 891) & (f < 17_783)
    rms = np.sqrt(2 * np.sum(np.abs(spectrum[inside]) ** 2)) / n
    return np.fft.irfft(spectrum * level / rms, n)


def clip(x, rate_hz: int = RATE_HZ) -> Clip:
    return Clip.of(x, rate_hz)
