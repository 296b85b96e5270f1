"""Rounds whose background drifts from clip to clip: four points, each air clip between two quiets, from a pool."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.pool import Pool, picked, scaled
from listen.bench.accuracy.workers import pieces, spread
from listen.rate import Rate, exact_rate
from listen.rounds.weigh import round_drift
from listen.signal.bands import CENTRES_HZ
from listen.signal.contrast import Contrast
from listen.signal.drift import NEPER_PER_DB, RoundDrift
from listen.signal.excess import Excess, excess
from listen.signal.point import PointTakes
from listen.signal.take import TakeBands
from listen.trade.points import Kind

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
    """One point of a round, measured."""

    excess: Excess
    contrast: Contrast
    hiss: NDArray[np.float64]
    """True hiss over long-run background, per band [shape=(13,)]."""


def silence(_: np.random.Generator) -> float:
    """No hiss."""
    return 0.0


def drift_gain(rng: np.random.Generator, sd_db: float, smooth_share: float) -> NDArray[np.float64]:
    """Power gain per band of one clip [shape=(13,)]."""
    octaves = np.log2(CENTRES_HZ)
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
        gains[1] = gains[1] + truth
        before, air, after = (scaled(t, g) for t, g in zip(picked(rng, pool, 3), gains, strict=True))
        points.append(point_takes(name, (before, after), (air,), pool.bias))
        truths.append(truth)
    return heard(points, truths)


def point_takes(
    name: str, quiet: tuple[TakeBands, ...], air: tuple[TakeBands, ...], bias: NDArray[np.float64]
) -> PointTakes:
    """Takes of one point as the round's drift reads them."""
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
    """A round's drift, dB."""
    return float(np.exp(rng.uniform(*np.log(DRIFT_DB))))


def _alarms(job: tuple[Pool, tuple[int, ...], float, int]) -> int:
    pool, seed, smooth_share, rounds = job
    rng = np.random.default_rng(seed)
    return sum(
        h.excess.detected for _ in range(rounds) for h in drawn_round(rng, pool, drift_sd(rng), smooth_share, silence)
    )


def drifting_false_alarms(pool: Pool, rounds: int, seed: int, workers: int) -> dict[str, Rate]:
    """False alarms over so many rounds of four points, by kind of drift."""
    out = {}
    for i, (name, share) in enumerate(KINDS.items()):
        jobs = [(pool, (seed, 21, i, c), share, each) for c, each in enumerate(pieces(rounds, CHUNKS))]
        alarms = sum(spread(_alarms, jobs, workers))
        out[name] = exact_rate(alarms, rounds * len(POINTS))
    return out
