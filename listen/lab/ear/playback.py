"""Playing clips to a learner: how loud, with what caution, and whether headphones and ears pass the hiss at all."""

import numpy as np

from listen.lab.ear.threshold import TrialClips
from listen.lab.simulator.background import unit_power
from listen.lab.simulator.curves import OCTAVES, curve, gaussian
from listen.signal.clip import Clip

CAUTION = (
    "Start with the volume low. Set it so that the first clip sounds like a quiet talk across a table, and leave it "
    "there. Pause after 20 minutes. Stop if your ears ring. Never turn up to hear a fainter hiss: fainter is the drill."
)
"""Shown before anything is played. NIOSH: 85 dBA over 8 h is the limit, half the time for every 3 dB more."""
COMFORTABLE_DBFS = -32.0
"""Level (root mean square) that clips are brought to."""
MAX_GAIN_DB = 30.0
PEAK_DBFS = -3.0
"""Nothing is played louder than this at its peak."""
CHECK_S = 0.8
CHECK_RATE_HZ = 48_000
CHECK_BANDS_HZ = ((1_000.0, 2_000.0), (4_000.0, 8_000.0), (8_000.0, 14_000.0))
"""Bands of the check: where red leaks, most leaks and sharp jets hiss."""
CHECK_DBFS = -42.0


def comfortable_gain_db(*clips: Clip) -> float:
    """One gain for clips that are compared: the loudest comes to ``COMFORTABLE_DBFS``, no peak above ``PEAK_DBFS``."""
    loudest = max(float(np.sqrt(np.mean(c.samples.astype(np.float64) ** 2))) for c in clips)
    peak = max(float(np.abs(c.samples).max()) for c in clips)
    if peak <= 0.0:
        return 0.0
    # By the loudest: one gain for all keeps what is compared as far apart as it is.
    wanted = COMFORTABLE_DBFS - 20 * np.log10(loudest)
    room = PEAK_DBFS - 20 * np.log10(peak)
    return round(float(min(wanted, room, MAX_GAIN_DB)), 2)


def _band_noise(rng: np.random.Generator, low_hz: float, high_hz: float) -> Clip:
    n = round(CHECK_S * CHECK_RATE_HZ)
    centre, half = np.log2(np.sqrt(low_hz * high_hz) / 1000.0), np.log2(high_hz / low_hz) / 2
    shape = curve(np.where(np.abs(OCTAVES - centre) <= half, 0.0, -90.0))
    power = unit_power(shape, n, CHECK_RATE_HZ)
    wave = np.fft.irfft(gaussian(rng, power, n), n) * 10 ** (CHECK_DBFS / 20)
    # 20 ms up and down: a click at either end would tell where the noise is.
    ramp = np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.02 * CHECK_RATE_HZ))
    return Clip.of(wave * ramp, CHECK_RATE_HZ, name=f"noise of {low_hz:.0f}-{high_hz:.0f} Hz")


def headphone_check(seed: int) -> tuple[TrialClips, ...]:
    """Two trials a band: a quiet noise in one interval, silence in the other; all must be right.

    Who misses a band cannot be trained there with these headphones: small loudspeakers, a closed-in ear cup, or an
    ear to be looked after. It is no hearing test.
    """
    rng = np.random.default_rng([seed, 4])
    pairs: list[TrialClips] = []
    for low_hz, high_hz in CHECK_BANDS_HZ * 2:
        noise = _band_noise(rng, low_hz, high_hz)
        silence = Clip.of(np.zeros(len(noise.samples)), CHECK_RATE_HZ, name="silence")
        hiss_in = int(rng.integers(1, 3))
        both = (noise, silence) if hiss_in == 1 else (silence, noise)
        pairs.append(TrialClips(both, hiss_in, CHECK_DBFS, len(pairs) + 1))
    return tuple(pairs)


def check_words(right: tuple[bool, ...]) -> str:
    bands = [f"{low / 1000:g}-{high / 1000:g} kHz" for low, high in CHECK_BANDS_HZ]
    lost = [band for i, band in enumerate(bands) if not all(right[i :: len(bands)])]
    if not lost:
        return "Headphones and ears pass all three bands of the hiss."
    return (
        f"Not heard for sure: {', '.join(lost)}. Try better headphones or a quieter room; "
        "drills still work by picture, and this is no hearing test."
    )
