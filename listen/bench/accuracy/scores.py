"""Scores of many forecasts: right of answered, coverage, false calls, AUGRC, Brier, log loss, calibration.

Symbols: n rounds, p shared probabilities, y truth (a pair's mass shared equally), c confidence in the path most likely
involved, r in {0, 1} whether it is.
"""

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.forecast import ALL_PATHS, SOUND, Forecast
from listen.rate import Rate, counted

ECE_BINS = 10
ECE_SIMULATIONS = 400
"""Outcomes a perfect forecaster is given, to find the floor of its ECE."""
ECE_SEED = 20_240
SURE = 0.95
"""Odds from which on a named path is taken for certain by whoever reads it."""
LEAST_PROBABILITY = 1e-6
"""Log loss takes no probability below this, so that one certain error does not hide all else."""


class Scores(msgspec.Struct, frozen=True, kw_only=True):
    """All scores of one contender."""

    rounds: int
    right: Rate
    """Of the rounds answered."""
    coverage: Rate
    """Rounds answered."""
    helped: Rate
    """Rounds answered of those with sound-cylinder clips and a loss reading."""
    sure: Rate
    """Right of the rounds answered with ``SURE`` or more."""
    false_calls: Rate
    """Sound cylinders on which an escape path was named."""
    top_right: float
    """Share of rounds whose most likely path is truly there."""
    confidence: float
    """Mean odds of that path: below ``top_right`` it is less sure than it might be."""
    augrc: float
    """Area under the generalised risk-coverage curve (Traub et al. 2024); less is better."""
    brier: float
    log_loss: float
    ece: float
    ece_floor: float
    """ECE a perfect forecaster with the same confidences would have, mean over simulated outcomes."""


def score(forecasts: Sequence[Forecast]) -> Scores:
    """Score a contender's forecasts."""
    answered = [f for f in forecasts if f.named]
    sound = [f for f in forecasts if SOUND in f.truth]
    tops = np.array([f.top for f in forecasts], dtype=np.float64).reshape(-1, 2)
    confidence, right = tops[:, 0], tops[:, 1]
    p, y = probabilities(forecasts)
    return Scores(
        rounds=len(forecasts),
        right=counted(answered, lambda f: f.right),
        coverage=counted(forecasts, lambda f: bool(f.named)),
        helped=counted([f for f in forecasts if f.helped], lambda f: bool(f.named)),
        sure=counted([f for f in answered if f.stated >= SURE], lambda f: f.right),
        false_calls=counted(sound, lambda f: f.called_leak),
        top_right=float(right.mean()),
        confidence=float(confidence.mean()),
        augrc=augrc(confidence, 1.0 - right),
        brier=float(((p - y) ** 2).sum(axis=1).mean()),
        log_loss=float(-(y * np.log(np.maximum(p, LEAST_PROBABILITY))).sum(axis=1).mean()),
        ece=ece(confidence, right),
        ece_floor=ece_floor(confidence),
    )


def probabilities(forecasts: Sequence[Forecast]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Shared probabilities and truth [shape=(n, 8)] each."""
    p = np.array([[f.share.get(path, 0.0) for path in ALL_PATHS] for f in forecasts])
    y = np.array([[(path in f.truth) / len(f.truth) for path in ALL_PATHS] for f in forecasts])
    return p, y


def augrc(confidence: NDArray[np.float64], loss: NDArray[np.float64]) -> float:
    """Area under the generalised risk-coverage curve: the risk of an undetected error, averaged over all thresholds.

    Rounds of equal confidence are accepted together, so the curve runs straight between them.
    """
    order = np.argsort(-confidence, kind="stable")
    last = np.append(np.diff(confidence[order]) != 0, True)
    n = len(confidence)
    risk = np.concatenate([[0.0], np.cumsum(loss[order])[last] / n])
    coverage = np.concatenate([[0.0], (np.arange(1, n + 1) / n)[last]])
    return float(np.trapezoid(risk, coverage))


def bins(confidence: NDArray[np.float64]) -> NDArray[np.intp]:
    """Bin of each confidence [shape=(n,)]."""
    return np.asarray(np.clip((confidence * ECE_BINS).astype(np.intp), 0, ECE_BINS - 1))


def ece(confidence: NDArray[np.float64], right: NDArray[np.float64]) -> float:
    """Expected calibration error in ten equal bins; ``right`` may be a stack [shape=(..., n)] and is then averaged."""
    gap = (right - confidence) @ np.eye(ECE_BINS)[bins(confidence)] / confidence.size
    return float(np.abs(gap).sum(axis=-1).mean())


def ece_floor(confidence: NDArray[np.float64]) -> float:
    """Mean ECE over outcomes drawn from the confidences themselves."""
    rng = np.random.default_rng(ECE_SEED)
    drawn = rng.random((ECE_SIMULATIONS, confidence.size)) < confidence
    return ece(confidence, drawn.astype(np.float64))
