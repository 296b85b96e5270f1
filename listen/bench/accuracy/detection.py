"""Detection in steady noise: how deep a hiss is found, against the limit, and how often silence is called a hiss.

Symbols: B bandwidth, T seconds of each clip, s = sqrt(2 / (B T)) the relative standard deviation of an on-off ratio
(radiometer equation; Urkowitz 1967). The limit is the hiss of relative power (3.09 + 1.28) s = 4.37 s.
"""

import numpy as np

from listen.bench.accuracy.pool import SECONDS, SHAPES, Pool, drifting_false_alarms, make_pool, picked, scaled
from listen.bench.accuracy.scores import Figures
from listen.bench.accuracy.workers import pieces, spread
from listen.rate import exact_rate
from listen.signal.bands import BANDWIDTH_HZ
from listen.signal.contrast import Contrast
from listen.signal.contrast import pool as pooled
from listen.signal.drift import RoundDrift, stated
from listen.signal.excess import FALSE_ALARM, excess

SIGMAS = 4.37
"""Standard normal quantiles at a false alarm of 1e-3 and a detection of 90 %, added."""
DETECTED = 0.90
LEVELS_DB = tuple(float(x) for x in np.arange(-17.5, -13.4, 0.5))
"""Hiss over background, from never to always found."""
CLIPS_A_ROUND, PAIRS_A_ROUND, DEPTH_PAIRS_A_ROUND, DRIFT_ROUNDS_A_ROUND = 6, 50, 4, 6
"""How the sizes follow the number of rounds drawn."""
CHUNKS = 8
"""Pieces the pairs are drawn in; part of the seed."""


def limit_db(bandwidth_hz: float, seconds: float) -> float:
    return float(10.0 * np.log10(SIGMAS * np.sqrt(2.0 / (bandwidth_hz * seconds))))


def detection(rounds: int, seed: int, workers: int) -> Figures:
    pools = [make_pool(name, CLIPS_A_ROUND * rounds, seed, workers) for name in SHAPES]
    return {
        "stated_false_alarm": FALSE_ALARM,
        # Independent clips a background; pairs are drawn from them.
        "clips": len(pools[0].takes),
        "depths": [_depth(p, rounds, seed, workers) for p in pools],
        # False alarm by kind of drift, two quiets about each air clip, four points a round.
        "drifting": drifting_false_alarms(pools[0], DRIFT_ROUNDS_A_ROUND * rounds, seed, workers),
    }


def _depth(pool: Pool, rounds: int, seed: int, workers: int) -> Figures:
    silent, hissing = PAIRS_A_ROUND * rounds, DEPTH_PAIRS_A_ROUND * rounds
    chunks = min(CHUNKS, hissing)  # no piece is empty, so fewer pairs than pieces would leave silent ones undrawn
    split = enumerate(zip(pieces(silent, chunks), pieces(hissing, chunks), strict=True))
    found = spread(_pairs, [(pool, (seed, 11, c), s, h) for c, (s, h) in split], workers)
    alarms = sum(f[0] for f in found)
    shares = np.sum([f[1] for f in found], axis=0) / hissing
    return {
        "background": pool.name,
        # Hiss over background that the best detector finds nine times in ten,
        "limit_db": limit_db(float(BANDWIDTH_HZ.sum()), SECONDS),
        # and that was; None where the levels tried do not bracket it.
        "reached_db": crossing(LEVELS_DB, shares, DETECTED),
        "by_level": tuple(zip(LEVELS_DB, map(float, shares), strict=True)),
        "false_alarm": exact_rate(alarms, silent),
    }


def _pairs(job: tuple[Pool, tuple[int, ...], int, int]) -> tuple[int, list[int]]:
    """False alarms among so many pairs, and detections at each level among so many others."""
    pool, seed, silent, hissing = job
    rng = np.random.default_rng(seed)
    alarms = sum(_found(pool, rng, 0.0) for _ in range(silent))
    return alarms, [sum(_found(pool, rng, 10 ** (level / 10)) for _ in range(hissing)) for level in LEVELS_DB]


def _found(pool: Pool, rng: np.random.Generator, hiss: float) -> bool:
    """Whether a hiss of the background's own shape is found by one quiet and one air clip, drift stated to be none."""
    quiet, air = picked(rng, pool, 2)
    steady = RoundDrift(stated(0.0), stated(0.0))
    contrast = Contrast(pooled([quiet]), pooled([scaled(air, 1.0 + hiss)]))
    return excess(contrast, steady, pool.live, pool.bias).detected


def crossing(levels: tuple[float, ...], shares: np.ndarray, at: float) -> float | None:
    """Level at which a rising share first passes ``at``, between two levels; None where it does not."""
    above = np.flatnonzero(shares >= at)
    if not len(above) or above[0] == 0:
        return None
    i = int(above[0])
    return float(np.interp(at, shares[i - 1 : i + 1], levels[i - 1 : i + 1]))
