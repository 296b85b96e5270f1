"""The shop's sound at one point while one clip is taken: steady noise, events, or a stretch of a sound file."""

from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.errors import RoundError
from listen.lab.simulator.curves import gaussian, power_gain
from listen.lab.simulator.noises import MAKERS
from listen.lab.simulator.scene import Background, Part

LOWEST_HZ = 20.0
HIGHEST_HZ = 20_000.0
"""The unit level of a steady part is its power between these."""


@lru_cache(maxsize=32)
def unit_power(shape: tuple[float, ...], n: int, rate_hz: int) -> NDArray[np.float32]:
    """One-sided bin powers of noise of this shape whose power over 20 Hz-20 kHz is one [shape=(n//2+1,)]."""
    gain = power_gain(shape, n, rate_hz)
    lo, hi = int(LOWEST_HZ * n / rate_hz), int(min(HIGHEST_HZ, rate_hz / 2) * n / rate_hz)
    power = np.asarray(gain / gain[lo:hi].sum(dtype=np.float64), dtype=np.float32)
    power.flags.writeable = False
    return power


def _throb(rng: np.random.Generator, part: Part, n: int, rate_hz: int) -> NDArray[np.float32]:
    """Noise that swells ``rate_hz`` times a second by ``depth`` (a pump, a fan blade)."""
    noise = np.fft.irfft(gaussian(rng, unit_power(part.curve, n, rate_hz), n), n)
    t = np.arange(n, dtype=np.float32) / rate_hz
    swing = np.float32(2 * np.pi * part.numbers["rate_hz"]) * t + np.float32(rng.uniform(0, 6.28))
    return np.asarray(noise * (1 + np.float32(part.numbers["depth"]) * np.sin(swing)), dtype=np.float32)


def synthetic(parts: tuple[Part, ...], rng: np.random.Generator, n: int, rate_hz: int) -> NDArray[np.complex64]:
    """FFT of ``n`` samples of a synthetic background at unit level [shape=(n//2+1,)]."""
    power = np.zeros(n // 2 + 1, dtype=np.float32)
    waves = np.zeros(n, dtype=np.float32)
    for part in parts:
        if part.kind == "noise":
            power += unit_power(part.curve, n, rate_hz) * np.float32(10 ** (part.level_db / 10))
        elif part.kind == "throb":
            waves += _throb(rng, part, n, rate_hz) * np.float32(10 ** (part.level_db / 20))
        elif part.kind in MAKERS:
            waves += MAKERS[part.kind](rng, n, rate_hz, part.numbers) * np.float32(10 ** (part.level_db / 20))
        else:
            known = " ".join(["noise", "throb", *MAKERS])
            raise RoundError(f"background part {part.kind!r} is not known to the simulator; known: {known}")
    spectrum = gaussian(rng, power, n)
    if any(part.kind != "noise" for part in parts):
        spectrum += np.fft.rfft(waves)
    return spectrum


@lru_cache(maxsize=8)
def _file(path: str, rate_hz: int) -> NDArray[np.float32]:
    """Samples of a sound file at ``rate_hz`` with a mean power of one, read-only."""
    from listen.audio.files import read_clip

    clip = read_clip(Path(path))
    x = clip.samples.astype(np.float32) - np.float32(clip.samples.mean())
    if clip.rate_hz != rate_hz:
        x = resample(x, clip.rate_hz, rate_hz)
    power = float(np.mean(x * x, dtype=np.float64))
    if power <= 0:
        raise RoundError(f"{path}: is silent and cannot serve as a background; choose another recording")
    x = np.asarray(x / np.float32(np.sqrt(power)), dtype=np.float32)
    x.flags.writeable = False
    return x


def resample(x: NDArray[np.float32], from_hz: int, to_hz: int) -> NDArray[np.float32]:
    """Band-limited resampling of a whole recording by FFT [shape=(n,)] -> [shape=(n*to/from,)]."""
    n_out = len(x) * to_hz // from_hz
    spectrum = np.fft.rfft(x)
    kept = np.zeros(n_out // 2 + 1, dtype=spectrum.dtype)
    m = min(len(kept), len(spectrum))
    kept[:m] = spectrum[:m]
    return np.asarray(np.fft.irfft(kept, n_out) * (n_out / len(x)), dtype=np.float32)


def file_seconds(path: str, rate_hz: int) -> float:
    """Length of a background file once brought to ``rate_hz``."""
    return len(_file(path, rate_hz)) / rate_hz


def stretch(
    background: Background, rng: np.random.Generator, lengths: list[int], rate_hz: int
) -> list[NDArray[np.float32]]:
    """Consecutive pieces of the file, one a clip, from a random start; samples are never used twice.

    Raises RoundError: the file is shorter than the clips together."""
    x = _file(background.file, rate_hz)
    total = sum(lengths)
    if total > len(x):
        raise RoundError(
            f"{background.file}: {len(x) / rate_hz:.1f} s long, the clips of one point need {total / rate_hz:.1f} s; "
            "use shorter clips or a longer recording"
        )
    start = int(rng.integers(0, len(x) - total + 1))
    ends = np.cumsum([start, *lengths])
    return [x[a:b] for a, b in pairwise(ends)]
