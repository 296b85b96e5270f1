"""What each point's background and hisses measure by the scene alone: levels before a sample is rendered.

Symbols: B background and H hiss power per third octave at a point, as recorded. A hiss stated as L dB is scaled by s,
s^2 mean_b(H_b / B_b) = 10^(L/10), B the mean over the point's clips without their drift: the stated level is what an
ideal meter finds.
"""

from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.background import stretch, synthetic, unit_power
from listen.lab.simulator.curves import add, band_bins, band_power, comb_gain, power_gain, spectrum_power
from listen.lab.simulator.scene import Hiss, PointSpec, RoundSpec, TakeSpec


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One clip's background as the microphone hears it, before drift and self-noise."""

    point: PointSpec
    take: TakeSpec
    n: int
    spectrum: NDArray[np.complex64]


def stream_of(spec: RoundSpec, *words: object) -> np.random.Generator:
    """A stream of its own for each named thing, so that changing one thing leaves the noise of others alone."""
    key = crc32("/".join(map(str, words)).encode())
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(spec.seed, spawn_key=(key,))))


def amplitude(power_gain_db: NDArray[np.float32]) -> NDArray[np.float32]:
    """Factor on a spectrum that multiplies its power so."""
    return np.sqrt(power_gain_db)


def layers_of(spec: RoundSpec, point: PointSpec) -> list[Layer]:
    """The background of each of a point's clips."""
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
        spectrum *= amplitude(power_gain(add(spec.microphone.colour, point.colour), n, rate))
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
    """The same as the microphone takes it up."""
    return np.asarray(source_shape(hiss, n, spec.rate_hz) * power_gain(spec.microphone.colour, n, spec.rate_hz))
