"""The shop's sound at one point while one clip is taken: steady noise, events, or a stretch of a sound file; and levels
before a sample is rendered.

Symbols: B background and H hiss power per third octave at a point, as recorded. A hiss stated as L dB is scaled by s,
s^2 mean_b(H_b / B_b) = 10^(L/10), B the mean over the point's clips without their drift: the stated level is what an
ideal meter finds.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from listen.audio.files import read_clip
from listen.errors import RoundError
from listen.lab.simulator.curves import add, band_bins, band_power, comb_gain, gaussian, power_gain, spectrum_power
from listen.lab.simulator.noises import MAKERS
from listen.lab.simulator.scene import Background, Hiss, Part, PointSpec, RoundSpec, TakeSpec

LOWEST_HZ = 20.0
HIGHEST_HZ = 20_000.0
"""The unit level of a steady part is its power between these."""


@lru_cache(maxsize=32)
def unit_power(shape: tuple[float, ...], n: int, rate_hz: int) -> NDArray[np.float32]:
    """One-sided bin powers of noise of this shape whose power over 20 Hz-20 kHz is one [shape=(n//2+1,)]."""
    gain = power_gain(shape, n, rate_hz)
    lo, hi = int(LOWEST_HZ * n / rate_hz), int(min(HIGHEST_HZ, rate_hz / 2) * n / rate_hz)
    power = np.asarray(gain / gain[lo:hi].sum(dtype=np.float64), dtype=np.float32)
    # Kept and handed out to many: whoever changed it would change what others render.
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
    # Noise was summed as power and drawn once; only waves need a transform of their own.
    if any(part.kind != "noise" for part in parts):
        spectrum += np.fft.rfft(waves)
    return spectrum


@lru_cache(maxsize=8)
def _file(path: str, rate_hz: int) -> NDArray[np.float32]:
    """Samples of a sound file at ``rate_hz`` with a mean power of one, read-only."""
    from scipy.signal import resample

    clip = read_clip(Path(path))
    # A converter's offset is no sound, and would count as power.
    x = clip.samples.astype(np.float32) - np.float32(clip.samples.mean())
    if clip.rate_hz != rate_hz:
        x = resample(x, len(x) * rate_hz // clip.rate_hz)
    power = float(np.mean(x * x, dtype=np.float64))
    if power <= 0:
        raise RoundError(f"{path}: is silent and cannot serve as a background; choose another recording")
    x = np.asarray(x / np.float32(np.sqrt(power)), dtype=np.float32)
    x.flags.writeable = False
    return x


def file_seconds(path: str, rate_hz: int) -> float:
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


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One clip's background as the microphone hears it, before drift and self-noise."""

    point: PointSpec
    take: TakeSpec
    n: int
    spectrum: NDArray[np.complex64]


def stream_of(spec: RoundSpec, *words: object) -> np.random.Generator:
    """A stream of its own for each named thing, so that changing one thing leaves the noise of others alone."""
    # A CRC and not Python's hash, which is another in every process.
    key = crc32("/".join(map(str, words)).encode())
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(spec.seed, spawn_key=(key,))))


def layers_of(spec: RoundSpec, point: PointSpec) -> list[Layer]:
    rate = spec.rate_hz
    lengths = [round(take.seconds * rate) for take in point.takes]
    pieces = (
        stretch(spec.background, stream_of(spec, point.point, "stretch"), lengths, rate) if spec.background.file else []
    )
    layers = []
    for i, (take, n) in enumerate(zip(point.takes, lengths, strict=True)):
        if pieces:
            spectrum = np.fft.rfft(pieces[i]).astype(np.complex64)
        else:
            rng = stream_of(spec, point.point, take.kind, take.order, "background")
            spectrum = synthetic(spec.background.parts, rng, n, rate)
        level_db = spec.background.level_dbfs + point.offset_db
        # The root: curves state power, a spectrum holds amplitudes.
        spectrum *= np.sqrt(power_gain(add(spec.microphone.colour, point.colour), n, rate))
        spectrum *= np.float32(10 ** (level_db / 20))
        layers.append(Layer(point, take, n, spectrum))
    return layers


def mean_bands(layers: list[Layer], rate_hz: int) -> NDArray[np.float64]:
    """Mean background power per third octave over the clips of a point [shape=(bands,)]."""
    bands = [band_power(spectrum_power(layer.spectrum, layer.n), layer.n, rate_hz) for layer in layers]
    return np.asarray(np.average(bands, axis=0, weights=[layer.n for layer in layers]))


def band_widths_hz(n: int, rate_hz: int) -> NDArray[np.float64]:
    """What each third octave really spans in a transform of ``n`` samples [shape=(bands,)]."""
    return np.asarray(np.diff(band_bins(n, rate_hz)) * (rate_hz / n))


def self_noise_density(spec: RoundSpec, bands: list[NDArray[np.float64]], n: int) -> float:
    """Power per hertz of the microphone's own noise."""
    width = band_widths_hz(n, spec.rate_hz)
    if spec.microphone.self_noise_dbfs is not None:
        return float(10 ** (spec.microphone.self_noise_dbfs / 10) / width.sum())
    mean = float(np.mean([b.sum() / width.sum() for b in bands]))
    return mean * 10 ** (spec.microphone.self_noise_db / 10)


def hiss_scale(spec: RoundSpec, hiss: Hiss, bands: NDArray[np.float64], n: int) -> float:
    """Factor on the hiss' shape that makes the stated level true."""
    shape = band_power(hiss_shape(spec, hiss, n), n, spec.rate_hz)
    # The microphone's colour left out: such a level is of the air at the mouth, whatever hears it.
    if hiss.about == "full-scale":
        plain = band_power(source_shape(hiss, n, spec.rate_hz), n, spec.rate_hz)
        return float(10 ** (hiss.level_db / 10) / plain.sum())
    return float(10 ** (hiss.level_db / 10) / np.mean(shape / bands))


def source_shape(hiss: Hiss, n: int, rate_hz: int) -> NDArray[np.float32]:
    """Power of a hiss at unit level before the microphone's colour [shape=(n//2+1,)]."""
    power = unit_power(hiss.curve, n, rate_hz)
    if hiss.comb_hz:
        return np.asarray(power * comb_gain(hiss.comb_hz, hiss.comb_db, n, rate_hz), dtype=np.float32)
    return power


def hiss_shape(spec: RoundSpec, hiss: Hiss, n: int) -> NDArray[np.float32]:
    return np.asarray(source_shape(hiss, n, spec.rate_hz) * power_gain(spec.microphone.colour, n, spec.rate_hz))
