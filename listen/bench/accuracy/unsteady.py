"""Rounds in shops that are not steady: speech, struck metal, ratchets, stretches of recordings; the hiss is known."""

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.drifting import POINTS, Heard, heard, point_takes
from listen.bench.accuracy.pool import LEVEL, RATE_HZ, SECONDS, expected_bands, noise, reduce
from listen.lab.simulator.background import file_seconds, stretch, synthetic
from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.families import leak_shape
from listen.lab.simulator.scene import Background, Part
from listen.lab.simulator.shops import recordings
from listen.signal.point import PointTakes
from listen.signal.take import TakeBands

TAKES = 3
"""Quiet, air, quiet."""
LONG_RUN_TAKES = 8
"""Takes of a synthetic background that its long-run power is the mean of."""
HISS_DB = (-12.0, 12.0)
HISS_SHARE = 0.5
Samples = NDArray[np.float32]


def _parts(kind: str, rng: np.random.Generator) -> tuple[Part, ...]:
    steady = Part(kind="noise", level_db=-3.0, curve=curve(-4.0 * OCTAVES))
    return (steady, Part(kind=kind, level_db=float(rng.uniform(*SCENES[kind][0])), numbers=SCENES[kind][1](rng)))


def _speech(rng: np.random.Generator) -> dict[str, float]:
    return {"pitch_hz": rng.uniform(95, 230), "gap_s": rng.uniform(0.25, 0.6), "burst_s": rng.uniform(0.8, 2.0)}


def _clanks(rng: np.random.Generator) -> dict[str, float]:
    return {"per_s": rng.uniform(0.3, 2.0)}


def _ratchet(rng: np.random.Generator) -> dict[str, float]:
    return {"per_s": rng.uniform(0.2, 0.7), "clicks_hz": rng.uniform(14, 24)}


SCENES: dict[str, tuple[tuple[float, float], Callable[[np.random.Generator], dict[str, float]]]] = {
    "speech": ((-4.0, 6.0), _speech),
    "clanks": ((10.0, 24.0), _clanks),
    "ratchet": ((6.0, 18.0), _ratchet),
}
"""Unsteady parts beside steady noise: range of level in dB, and their particulars."""


def unsteady_round(scene: str, rng: np.random.Generator) -> list[Heard]:
    """One round in a synthetic unsteady shop."""
    parts, n = _parts(scene, rng), int(SECONDS * RATE_HZ)

    def take() -> Samples:
        return np.asarray(np.fft.irfft(synthetic(parts, rng, n, RATE_HZ), n) * np.float32(LEVEL), dtype=np.float32)

    long_run = np.mean([reduce(take())[0].mean for _ in range(LONG_RUN_TAKES)], axis=0)
    return _round(rng, lambda: [take() for _ in range(TAKES)], long_run)


def recorded_round(folder: Path, rng: np.random.Generator) -> list[Heard]:
    """One round over one recording of the reported population: consecutive stretches, no sample twice at a point.

    Recordings are drawn by their length, so that every recorded second counts alike: a recording no longer than its
    three takes holds one draw only, however often it is drawn.
    """
    files, share = _recorded_shares(folder)
    file = files[int(rng.choice(len(files), p=share))]
    n = int(min(SECONDS, file_seconds(file, RATE_HZ) / TAKES) * RATE_HZ)
    place = Background(name="", file=file)

    def takes() -> list[Samples]:
        return [np.asarray(x * np.float32(LEVEL)) for x in stretch(place, rng, [n] * TAKES, RATE_HZ)]

    return _round(rng, takes, _recorded_long_run(file, n))


@lru_cache(maxsize=2)
def _recorded_shares(folder: Path) -> tuple[list[str], NDArray[np.float64]]:
    """Recordings of the reported population, and each one's share of their seconds."""
    files = [str(f) for f in recordings(folder, "report")]
    seconds = np.array([file_seconds(f, RATE_HZ) for f in files])
    return files, seconds / seconds.sum()


@lru_cache(maxsize=32)
def _recorded_long_run(file: str, n: int) -> NDArray[np.float64]:
    """Mean over the whole recording [shape=(13,)]."""
    count = int(file_seconds(file, RATE_HZ) * RATE_HZ) // n
    pieces = stretch(Background(name="", file=file), np.random.default_rng(0), [n] * count, RATE_HZ)
    return np.asarray(np.mean([reduce(x * np.float32(LEVEL))[0].mean for x in pieces], axis=0))


def _round(rng: np.random.Generator, takes: Callable[[], list[Samples]], long_run: NDArray[np.float64]) -> list[Heard]:
    points, truths = [], []
    for name in POINTS:
        before, air, after = takes()
        hiss, truth = _hiss(rng, len(air), long_run)
        points.append(_point(name, (before, air + hiss, after)))
        truths.append(truth)
    return heard(points, truths)


def _point(name: str, clips: tuple[Samples, Samples, Samples]) -> PointTakes:
    found: list[TakeBands] = []
    for clip in clips:
        bands, bias = reduce(clip)
        found.append(bands)
    return point_takes(name, (found[0], found[2]), (found[1],), bias)


def _hiss(
    rng: np.random.Generator, n: int, long_run: NDArray[np.float64]
) -> tuple[Samples | np.float32, NDArray[np.float64]]:
    """A hiss or none, and its true power over the long-run background per band [shape=(13,)]."""
    if rng.random() >= HISS_SHARE:
        return np.float32(0.0), np.zeros_like(long_run)
    shape = leak_shape(rng, "report", "intake-valve")
    ratio = expected_bands(shape) / long_run
    gain = 10 ** (float(rng.uniform(*HISS_DB)) / 10) / float(ratio.mean())
    return noise(rng, shape, n) * np.float32(np.sqrt(gain)), ratio * gain
