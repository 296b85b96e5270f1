"""Many independent clips of steady Gaussian noise as band numbers, from which pairs and rounds are drawn.

A hiss in Gaussian noise of known spectrum only scales band powers: adding power H to B gives the very distribution of
B scaled by 1 + H/B. So levels and drift are applied to the band numbers of clips rendered once.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.workers import spread
from listen.lab.simulator.background import unit_power
from listen.lab.simulator.curves import OCTAVES, Curve, curve, gaussian
from listen.signal.bands import BANDWIDTH_HZ, band_weights
from listen.signal.clip import Clip
from listen.signal.floor import degrees_of_freedom, quantile_bias
from listen.signal.spectra import spectra
from listen.signal.take import TakeBands, take_bands

RATE_HZ = 48_000
SECONDS = 4.0
LEVEL = 10 ** (-50 / 20)
"""Level of the noise; the measurement is scale-free."""
SHAPES: dict[str, Curve] = {"pink": curve(-3.0 * OCTAVES), "rumble": curve(-6.0 * OCTAVES)}
"""Density of the steady backgrounds, dB an octave."""
HANN_LEAK = (1 / 6, 2 / 3, 1 / 6)
"""Shares of a bin's power that a Hann window moves to its neighbours and keeps."""
CHUNK = 50
"""Clips a process renders at a time; part of the seed, so never the number of processes."""


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """Clips as band numbers."""

    name: str
    takes: tuple[TakeBands, ...]
    bias: NDArray[np.float64]
    """Chi-square quantile over mean of the floors [shape=(13,)]."""

    @property
    def live(self) -> NDArray[np.bool_]:
        """All bands [shape=(13,)]."""
        return np.ones(len(self.bias), dtype=bool)


def noise(rng: np.random.Generator, shape: Curve, n: int) -> NDArray[np.float32]:
    """Gaussian noise of this shape at unit power [shape=(n,)]."""
    return np.asarray(np.fft.irfft(gaussian(rng, unit_power(shape, n, RATE_HZ), n), n), dtype=np.float32)


def reduce(samples: NDArray[np.float32]) -> tuple[TakeBands, NDArray[np.float64]]:
    """Band numbers of samples, no tone masked, and the bias of their floors."""
    found = spectra(Clip.of(samples, RATE_HZ))
    weights = band_weights(found)
    power = (found.power @ weights).astype(np.float64)
    dof = degrees_of_freedom(weights)
    return take_bands(power, BANDWIDTH_HZ, len(samples) / RATE_HZ, dof), quantile_bias(dof)


def expected_bands(shape: Curve) -> NDArray[np.float64]:
    """Expected band powers of noise of this shape at unit power, as Hann frames see them [shape=(13,)]."""
    silent = spectra(Clip.of(np.zeros(RATE_HZ), RATE_HZ))
    n = int(SECONDS * RATE_HZ)
    power = unit_power(shape, n, RATE_HZ).astype(np.float64)
    hz = np.arange(len(power)) * (RATE_HZ / n)
    edges = np.append(silent.freq_hz - 0.5 * RATE_HZ / silent.frame, silent.freq_hz[-1] + RATE_HZ / silent.frame)
    bins = np.histogram(hz, edges, weights=power)[0]
    leaked = np.convolve(np.pad(bins, 1, "edge"), HANN_LEAK, "valid")
    return np.asarray(leaked @ band_weights(silent))


def _render(job: tuple[str, int, int, int]) -> list[tuple[TakeBands, NDArray[np.float64]]]:
    name, seed, chunk, count = job
    rng = np.random.default_rng([seed, sorted(SHAPES).index(name), chunk])
    n = int(SECONDS * RATE_HZ)
    return [reduce(noise(rng, SHAPES[name], n) * np.float32(LEVEL)) for _ in range(count)]


def make_pool(name: str, clips: int, seed: int, workers: int) -> Pool:
    """Render a pool of about so many clips."""
    chunks = max(1, round(clips / CHUNK))
    size = min(clips, CHUNK)
    rendered = spread(_render, [(name, seed, c, size) for c in range(chunks)], workers)
    return Pool(name, tuple(t for group in rendered for t, _ in group), rendered[0][0][1])


def scaled(take: TakeBands, gain: NDArray[np.float64] | float) -> TakeBands:
    """The same take at another power per band."""
    return replace(take, mean=take.mean * gain, floor=take.floor * gain)


def picked(rng: np.random.Generator, pool: Pool, count: int) -> Sequence[TakeBands]:
    """Different takes at random."""
    return [pool.takes[i] for i in rng.choice(len(pool.takes), count, replace=False)]
