"""Many independent clips of steady Gaussian noise as band numbers, from which pairs and rounds are drawn.

A hiss in Gaussian noise of known spectrum only scales band powers: adding power H to B gives the very distribution of
B scaled by 1 + H/B. So levels and drift are applied to the band numbers of clips rendered once.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.workers import repeated
from listen.lab.simulator.background import unit_power
from listen.lab.simulator.curves import OCTAVES, Curve, curve, gaussian
from listen.rate import Rate, exact_rate
from listen.rounds.weigh import round_drift
from listen.signal.bands import BANDWIDTH_HZ, CENTRES_HZ, band_weights
from listen.signal.clip import Clip
from listen.signal.contrast import Contrast
from listen.signal.drift import NEPER_PER_DB, RoundDrift
from listen.signal.excess import Excess, excess
from listen.signal.point import PointTakes
from listen.signal.spectra import spectra
from listen.signal.take import TakeBands, degrees_of_freedom, quantile_bias, take_bands
from listen.trade.points import Kind

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


def _render(name: str, rng: np.random.Generator) -> tuple[TakeBands, NDArray[np.float64]]:
    return reduce(noise(rng, SHAPES[name], int(SECONDS * RATE_HZ)) * np.float32(LEVEL))


def make_pool(name: str, clips: int, seed: int, workers: int) -> Pool:
    chunks = max(1, round(clips / CHUNK))
    times, stream = chunks * min(clips, CHUNK), sorted(SHAPES).index(name)
    rendered = repeated(partial(_render, name), times, (seed, stream), chunks, workers)
    # The bias hangs on the frame and the bands alone, so any clip's serves.
    return Pool(name, tuple(take for take, _ in rendered), rendered[0][1])


def scaled(take: TakeBands, gain: NDArray[np.float64] | float) -> TakeBands:
    return replace(take, mean=take.mean * gain, floor=take.floor * gain)


def picked(rng: np.random.Generator, pool: Pool, count: int) -> Sequence[TakeBands]:
    # Without replacement: a clip beside itself would differ by nothing.
    return [pool.takes[i] for i in rng.choice(len(pool.takes), count, replace=False)]


POINTS = ("intake", "tailpipe", "oil-filler", "radiator")
DRIFT_DB = (0.1, 0.5)
"""Standard deviation of a clip's level, drawn log-uniformly for each round."""
KINDS: dict[str, float] = {"common to all bands": 0.0, "80 % common, 20 % smooth": 0.2}
"""Share of the drift's variance that is not common but smooth over frequency (correlation length one octave)."""
CHUNKS = 16

Hiss = Callable[[np.random.Generator], NDArray[np.float64] | float]
"""Draws hiss over background per band [shape=(13,)]."""


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    excess: Excess
    contrast: Contrast
    hiss: NDArray[np.float64]
    """True hiss over long-run background, per band [shape=(13,)]."""


def drift_gain(rng: np.random.Generator, sd_db: float, smooth_share: float) -> NDArray[np.float64]:
    """Power gain per band of one clip [shape=(13,)]."""
    octaves = np.log2(CENTRES_HZ)
    # 1e-9: rounding must not make the matrix indefinite.
    smooth = np.linalg.cholesky(np.exp(-np.abs(octaves[:, None] - octaves)) + 1e-9 * np.eye(len(octaves)))
    coloured = smooth @ rng.standard_normal(len(octaves))
    z = np.sqrt(1.0 - smooth_share) * rng.standard_normal() + np.sqrt(smooth_share) * coloured
    return np.asarray(np.exp(NEPER_PER_DB * sd_db * z))


def drawn_round(rng: np.random.Generator, pool: Pool, drift_db: float, smooth_share: float, hiss: Hiss) -> list[Heard]:
    """One round of four points, drift estimated from its own repeats as in use."""
    points, truths = [], []
    for name in POINTS:
        truth = np.asarray(np.broadcast_to(hiss(rng), pool.bias.shape))
        gains = [drift_gain(rng, drift_db, smooth_share) for _ in range(3)]
        # Added, not multiplied: the hiss does not drift with the shop.
        gains[1] = gains[1] + truth
        before, air, after = (scaled(t, g) for t, g in zip(picked(rng, pool, 3), gains, strict=True))
        points.append(point_takes(name, (before, after), (air,), pool.bias))
        truths.append(truth)
    return heard(points, truths)


def point_takes(
    name: str, quiet: tuple[TakeBands, ...], air: tuple[TakeBands, ...], bias: NDArray[np.float64]
) -> PointTakes:
    return PointTakes(name, np.ones(len(bias), dtype=bool), {Kind.QUIET: quiet, Kind.AIR: air}, bias, (), {}, ())


def heard(points: Sequence[PointTakes], truths: Sequence[NDArray[np.float64]]) -> list[Heard]:
    """Excess at every point, with the drift of the whole round."""
    drift: RoundDrift = round_drift(points)
    out = []
    for p, truth in zip(points, truths, strict=True):
        contrast = p.contrast(Kind.AIR)
        assert contrast is not None
        out.append(Heard(excess(contrast, drift, p.live, p.floor_bias), contrast, truth))
    return out


def drift_sd(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(*np.log(DRIFT_DB))))


def _alarms(pool: Pool, smooth_share: float, rng: np.random.Generator) -> int:
    return sum(h.excess.detected for h in drawn_round(rng, pool, drift_sd(rng), smooth_share, lambda _: 0.0))


def drifting_false_alarms(pool: Pool, rounds: int, seed: int, workers: int) -> dict[str, Rate]:
    """False alarms over so many rounds of four points, by kind of drift."""
    out = {}
    for i, (name, share) in enumerate(KINDS.items()):
        # 21: a stream of its own; depth draws from 11, cover from 31.
        alarms = repeated(partial(_alarms, pool, share), rounds, (seed, 21, i), CHUNKS, workers)
        out[name] = exact_rate(sum(alarms), rounds * len(POINTS))
    return out
