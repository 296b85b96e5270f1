"""Cover of the 95 % intervals of excess: does the true excess lie inside, in steady, drifting and unsteady shops?

The truth is the whitened sum with the weights that were used: R = sum over bands of w_b H_b / B_b, H the hiss's power,
B the background's long-run power (mean over many takes, knocks gated out as in use); the true excess is 10 lg (1 + R).
"""

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.drifting import Heard, drawn_round, drift_sd
from listen.bench.accuracy.pool import Pool, make_pool
from listen.bench.accuracy.unsteady import SCENES, recorded_round, unsteady_round
from listen.bench.accuracy.workers import pieces, spread
from listen.rate import Rate, exact_rate
from listen.signal.bands import CENTRES_HZ
from listen.signal.drift import NEPER_PER_DB
from listen.signal.excess import whitening

HISS_DB = (-12.0, 12.0)
SLOPE_DB_PER_OCTAVE = (-6.0, 6.0)
"""Hiss over background: mean over bands, and slope of the ratio."""
STEADY_ROUNDS_A_ROUND, UNSTEADY_ROUNDS_A_ROUND = 0.6, 0.2
"""How the sizes follow the number of rounds drawn."""
CHUNKS = 8
"""Pieces the rounds are drawn in; part of the seed."""
CLIPS_A_ROUND, MOST_CLIPS = 6, 300
"""Clips of steady noise that steady and drifting rounds are drawn from."""


class Cover(msgspec.Struct, frozen=True, kw_only=True):
    """Cover in one kind of shop."""

    shop: str
    group: str
    """``steady``, ``drifting`` or ``unsteady``."""
    silent: Rate
    """Intervals that hold the truth where there is no hiss."""
    hissing: Rate
    """The same where there is one."""
    both: Rate
    half_width_db: float
    """Median over all points."""


def true_excess_db(h: Heard) -> float:
    """What the excess should be."""
    return float(10.0 * np.log10(1.0 + whitening(h.contrast) @ h.hiss))


def some_hiss(rng: np.random.Generator) -> NDArray[np.float64] | float:
    """Silence or a hiss, evenly: power over background per band [shape=(13,)]."""
    if rng.random() < 0.5:
        return 0.0
    tilt_db = rng.uniform(*SLOPE_DB_PER_OCTAVE) * np.log2(CENTRES_HZ / 4000.0)
    ratio = np.exp(NEPER_PER_DB * tilt_db)
    return np.asarray(10 ** (rng.uniform(*HISS_DB) / 10) * ratio / ratio.mean())


def cover(rounds: int, noise: Path | None, seed: int, workers: int) -> tuple[Cover, ...]:
    """Measure cover in every kind of shop; recordings where a folder is given."""
    pool = make_pool("pink", min(MOST_CLIPS, CLIPS_A_ROUND * rounds), seed + 1, workers)
    out = []
    many, some = (max(1, round(rounds * k)) for k in (STEADY_ROUNDS_A_ROUND, UNSTEADY_ROUNDS_A_ROUND))
    for i, (shop, group, work, total) in enumerate(_shops(pool, noise, many, some)):
        jobs = [(work, (seed, 31, i, c), each) for c, each in enumerate(pieces(total, CHUNKS))]
        rows = np.array([row for rows in spread(_rows, jobs, workers) for row in rows])
        out.append(_cover(shop, group, rows))
    return tuple(out)


RoundMaker = Callable[[np.random.Generator], list[Heard]]


def _shops(pool: Pool, noise: Path | None, many: int, some: int) -> Iterable[tuple[str, str, RoundMaker, int]]:
    yield "steady", "steady", partial(_steady, pool), many
    yield "drift 0.1-0.5 dB, common", "drifting", partial(_drifting, pool, 0.0), many
    yield "drift 0.1-0.5 dB, 20 % smooth", "drifting", partial(_drifting, pool, 0.2), many
    for name in SCENES:
        yield name, "unsteady", partial(unsteady_round, name), some
    if noise is not None:
        yield f"recordings of {noise.name or noise}", "unsteady", partial(recorded_round, noise), some


def _steady(pool: Pool, rng: np.random.Generator) -> list[Heard]:
    return drawn_round(rng, pool, 0.0, 0.0, some_hiss)


def _drifting(pool: Pool, smooth_share: float, rng: np.random.Generator) -> list[Heard]:
    return drawn_round(rng, pool, drift_sd(rng), smooth_share, some_hiss)


def _rows(job: tuple[RoundMaker, tuple[int, ...], int]) -> list[tuple[bool, bool, float]]:
    """By point: whether there is a hiss, whether the interval holds the truth, half its width."""
    work, seed, rounds = job
    rng = np.random.default_rng(seed)
    return [_row(h) for _ in range(rounds) for h in work(rng)]


def _row(h: Heard) -> tuple[bool, bool, float]:
    low, high = h.excess.ci95_db
    return bool(h.hiss.any()), low <= true_excess_db(h) <= high, 0.5 * (high - low)


def _cover(shop: str, group: str, rows: NDArray[np.float64]) -> Cover:
    hissing, held = rows[:, 0] > 0, rows[:, 1] > 0
    silent, loud = held[~hissing], held[hissing]
    return Cover(
        shop=shop,
        group=group,
        silent=exact_rate(int(silent.sum()), len(silent)),
        hissing=exact_rate(int(loud.sum()), len(loud)),
        both=exact_rate(int(held.sum()), len(held)),
        half_width_db=float(np.median(rows[:, 2])),
    )
