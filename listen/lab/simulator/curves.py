"""Spectral shapes of the simulator: decibels at fixed frequencies, and what they do to the bins of an FFT."""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

CONTROL_HZ: NDArray[np.float64] = 31.25 * 2.0 ** (np.arange(20) / 2)
"""Frequencies a curve is stated at: half octaves from 31 Hz to 22.6 kHz [shape=(20,)]."""
OCTAVES: NDArray[np.float64] = np.log2(CONTROL_HZ / 1000.0)
"""The same as octaves about 1 kHz."""
THIRD_OCTAVES_HZ: NDArray[np.float64] = 1000.0 * 10.0 ** (np.arange(13) / 10)
"""Centres of the hiss bands, 1 to 16 kHz, base-ten third octaves (IEC 61260-1)."""
BAND_EDGE = 10.0**0.05
"""Ratio of a third octave's upper edge to its centre."""

Curve = tuple[float, ...]
FLAT: Curve = (0.0,) * len(CONTROL_HZ)


def curve(values_db: ArrayLike) -> Curve:
    """A curve from values in dB at ``CONTROL_HZ`` [shape=(20,)], rounded to 0.001 dB so that JSON holds it exactly."""
    values: list[float] = np.broadcast_to(np.asarray(values_db, dtype=np.float64), CONTROL_HZ.shape).tolist()
    # By Python's own rounding: NumPy's multiplies first, and may miss the nearest thousandth by a digit of JSON.
    return tuple([round(v, 3) for v in values])


def add(*curves: Curve) -> Curve:
    """Sum of curves in dB: one filter after the other."""
    return curve(np.sum(np.asarray(curves, dtype=np.float64), axis=0))


@lru_cache(maxsize=96)
def power_gain(shape: Curve, n: int, rate_hz: int) -> NDArray[np.float32]:
    """Power gain per bin of an FFT of ``n`` samples [shape=(n//2+1,)], read-only; flat beyond the ends."""
    freq = np.arange(n // 2 + 1) * (rate_hz / n)
    # The lowest bins are held at a quarter of the first control: nought has no octave.
    log_f = np.log2(np.maximum(freq, CONTROL_HZ[0] / 4) / 1000.0)
    gain: NDArray[np.float32] = np.interp(log_f, OCTAVES, np.asarray(shape)).astype(np.float32)
    gain *= np.float32(np.log(10.0) / 10.0)
    np.exp(gain, out=gain)
    # No offset: a converter's is no sound.
    gain[0] = 0.0
    gain.flags.writeable = False
    return gain


@lru_cache(maxsize=96)
def comb_gain(spacing_hz: float, height_db: float, n: int, rate_hz: int) -> NDArray[np.float32]:
    """Power gain of a duct that resonates every ``spacing_hz``, ``height_db`` from valley to peak, mean about one.

    The pattern of a wave that meets its own echo after one length of the duct [shape=(n//2+1,)].
    """
    freq = np.arange(n // 2 + 1) * (rate_hz / n)
    ratio = 10.0 ** (height_db / 20)
    # The echo that makes just this height from valley to peak.
    echo = (ratio - 1.0) / (ratio + 1.0)
    gain = 1.0 / (1.0 + echo**2 - 2.0 * echo * np.cos(2 * np.pi * freq / spacing_hz))
    gain = np.asarray(gain / gain.mean(), dtype=np.float32)
    gain.flags.writeable = False
    return gain


@lru_cache(maxsize=16)
def band_bins(n: int, rate_hz: int) -> NDArray[np.intp]:
    """First bins of the hiss bands below half the sample rate, and the end of the last [shape=(bands+1,)]."""
    edges_hz = np.append(THIRD_OCTAVES_HZ / BAND_EDGE, THIRD_OCTAVES_HZ[-1] * BAND_EDGE)
    usable = edges_hz[edges_hz <= rate_hz / 2]
    bins = np.rint(usable * n / rate_hz).astype(np.intp)
    bins.flags.writeable = False
    return bins


def band_power(power: NDArray[np.float32], n: int, rate_hz: int) -> NDArray[np.float64]:
    """Sum of one-sided bin powers over each hiss band [shape=(bands,)]."""
    bins = band_bins(n, rate_hz)
    return np.asarray(np.add.reduceat(power[: bins[-1]], bins[:-1], dtype=np.float64))


def gaussian(rng: np.random.Generator, power: NDArray[np.float32], n: int) -> NDArray[np.complex64]:
    """FFT of ``n`` samples of Gaussian noise whose one-sided bin powers are ``power`` on average."""
    # A pair of unit normals has a mean square of two: with n / 2 a bin has the power stated.
    pairs = rng.standard_normal((len(power), 2), dtype=np.float32).view(np.complex64)[:, 0]
    return np.asarray(pairs * (np.sqrt(power) * np.float32(n / 2)), dtype=np.complex64)


def spectrum_power(spectrum: NDArray[np.complex64], n: int) -> NDArray[np.float32]:
    """One-sided bin powers of an FFT of ``n`` samples; their sum is the mean square."""
    power = spectrum.real**2 + spectrum.imag**2
    return np.asarray(power * np.float32(2.0 / n / n), dtype=np.float32)
