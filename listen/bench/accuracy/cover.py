"""Cover of the 95 % intervals of excess: does the true excess lie inside, in steady, drifting and unsteady (speech,
struck metal, ratchets, stretches of recordings) shops?

The truth is the whitened sum with the weights that were used: R = sum over bands of w_b H_b / B_b, H the hiss's power,
B the background's long-run power (mean over many takes, knocks gated out as in use); the true excess is 10 lg (1 + R).
"""

from collections.abc import Callable, Iterable
from functools import lru_cache, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.pool import (
    LEVEL,
    POINTS,
    RATE_HZ,
    SECONDS,
    Heard,
    Pool,
    drawn_round,
    drift_sd,
    expected_bands,
    heard,
    make_pool,
    noise,
    point_takes,
    reduce,
)
from listen.bench.accuracy.scores import Figures
from listen.bench.accuracy.workers import repeated
from listen.lab.simulator.background import file_seconds, stretch, synthetic
from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.scene import Background, Part
from listen.lab.simulator.shops import Sounding, recordings
from listen.lab.simulator.worlds.sounds import bent
from listen.rate import exact_rate
from listen.signal.bands import CENTRES_HZ
from listen.signal.drift import NEPER_PER_DB
from listen.signal.excess import whitening
from listen.signal.point import PointTakes

HISS_DB = (-12.0, 12.0)
SLOPE_DB_PER_OCTAVE = (-6.0, 6.0)
"""Hiss over background: mean over bands, and slope of the ratio."""
STEADY_ROUNDS_A_ROUND, UNSTEADY_ROUNDS_A_ROUND = 0.6, 0.2
"""How the sizes follow the number of rounds drawn."""
CHUNKS = 8
"""Pieces the rounds are drawn in; part of the seed."""
CLIPS_A_ROUND, MOST_CLIPS = 6, 300
"""Clips of steady noise that steady and drifting rounds are drawn from."""


def true_excess_db(h: Heard) -> float:
    return float(10.0 * np.log10(1.0 + whitening(h.contrast) @ h.hiss))


def some_hiss(rng: np.random.Generator) -> NDArray[np.float64] | float:
    """Silence or a hiss, evenly: power over background per band [shape=(13,)]."""
    if rng.random() < 0.5:
        return 0.0
    tilt_db = rng.uniform(*SLOPE_DB_PER_OCTAVE) * np.log2(CENTRES_HZ / 4000.0)
    ratio = np.exp(NEPER_PER_DB * tilt_db)
    return np.asarray(10 ** (rng.uniform(*HISS_DB) / 10) * ratio / ratio.mean())


def cover(rounds: int, noise: Path | None, seed: int, workers: int) -> tuple[Figures, ...]:
    # seed + 1: other clips than those whose detection is measured.
    pool = make_pool("pink", min(MOST_CLIPS, CLIPS_A_ROUND * rounds), seed + 1, workers)
    out = []
    many, some = (max(1, round(rounds * k)) for k in (STEADY_ROUNDS_A_ROUND, UNSTEADY_ROUNDS_A_ROUND))
    for i, (shop, group, work, total) in enumerate(_shops(pool, noise, many, some)):
        rounds_of = repeated(partial(_rows, work), total, (seed, 31, i), CHUNKS, workers)
        out.append(_cover(shop, group, np.array([row for rows in rounds_of for row in rows])))
    return tuple(out)


RoundMaker = Callable[[np.random.Generator], list[Heard]]


def _shops(pool: Pool, noise: Path | None, many: int, some: int) -> Iterable[tuple[str, str, RoundMaker, int]]:
    yield "steady", "steady", partial(_pooled, pool, None), many
    yield "drift 0.1-0.5 dB, common", "drifting", partial(_pooled, pool, 0.0), many
    yield "drift 0.1-0.5 dB, 20 % smooth", "drifting", partial(_pooled, pool, 0.2), many
    for name in SCENES:
        yield name, "unsteady", partial(unsteady_round, name), some
    if noise is not None:
        yield f"recordings of {noise.name or noise}", "unsteady", partial(recorded_round, noise), some


def _pooled(pool: Pool, smooth_share: float | None, rng: np.random.Generator) -> list[Heard]:
    """A round of steady noise that drifts; None: it does not."""
    drift_db = 0.0 if smooth_share is None else drift_sd(rng)
    return drawn_round(rng, pool, drift_db, smooth_share or 0.0, some_hiss)


def _rows(work: RoundMaker, rng: np.random.Generator) -> list[tuple[bool, bool, float]]:
    """By point: whether there is a hiss, whether the interval holds the truth, half its width."""
    found = [(h, *h.excess.ci95_db) for h in work(rng)]
    return [(bool(h.hiss.any()), low <= true_excess_db(h) <= high, 0.5 * (high - low)) for h, low, high in found]


def _cover(shop: str, group: str, rows: NDArray[np.float64]) -> Figures:
    hissing, held = rows[:, 0] > 0, rows[:, 1] > 0
    silent, loud = held[~hissing], held[hissing]
    return {
        "shop": shop,
        # ``steady``, ``drifting`` or ``unsteady``.
        "group": group,
        # Intervals that hold the truth where there is no hiss.
        "silent": exact_rate(int(silent.sum()), len(silent)),
        "hissing": exact_rate(int(loud.sum()), len(loud)),
        "both": exact_rate(int(held.sum()), len(held)),
        "half_width_db": float(np.median(rows[:, 2])),
    }


TAKES = 3
LONG_RUN_TAKES = 8
"""Takes of a synthetic background that its long-run power is the mean of."""
HISS_SHARE = 0.5
Samples = NDArray[np.float32]


STEADY = Part(kind="noise", level_db=-3.0, curve=curve(-4.0 * OCTAVES))
SCENES = {
    "speech": Sounding("speech", (-4, 6), None, {"pitch_hz": (95, 230), "gap_s": (0.25, 0.6), "burst_s": (0.8, 2.0)}),
    "clanks": Sounding("clanks", (10, 24), None, {"per_s": (0.3, 2.0)}),
    "ratchet": Sounding("ratchet", (6, 18), None, {"per_s": (0.2, 0.7), "clicks_hz": (14, 24)}),
}
"""Unsteady sounds beside ``STEADY``."""


def unsteady_round(scene: str, rng: np.random.Generator) -> list[Heard]:
    parts, n = (STEADY, SCENES[scene].part(rng)), int(SECONDS * RATE_HZ)

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
    # A fixed seed: the mean is kept for all rounds over this recording, whoever asks first.
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
    (before, bias), (air, _), (after, _) = map(reduce, clips)
    return point_takes(name, (before, after), (air,), bias)


def _hiss(
    rng: np.random.Generator, n: int, long_run: NDArray[np.float64]
) -> tuple[Samples | np.float32, NDArray[np.float64]]:
    """A hiss or none, and its true power over the long-run background per band [shape=(13,)]."""
    if rng.random() >= HISS_SHARE:
        return np.float32(0.0), np.zeros_like(long_run)
    shape = bent(rng, "intake-valve").shape
    ratio = expected_bands(shape) / long_run
    gain = 10 ** (float(rng.uniform(*HISS_DB)) / 10) / float(ratio.mean())
    return noise(rng, shape, n) * np.float32(np.sqrt(gain)), ratio * gain
