"""Scores of many forecasts: right of answered, coverage, false calls, AUGRC, Brier, log loss, calibration.

Symbols: n rounds, p shared probabilities, y truth (a pair's mass shared equally), c confidence in the path most likely
involved, r in {0, 1} whether it is.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.judge.hypotheses import LEAKS
from listen.judge.verdict import NAME_AT
from listen.rate import Rate, counted
from listen.trade.points import PathId

Figures = dict[str, Any]
"""Figures by name, as the JSON of a run has them; tables are drawn from the same."""
SOUND = str(PathId.NONE)
LEAK_PATHS = frozenset(map(str, LEAKS))
"""What counts as a call on a sound cylinder; "fitting" and "set-up" send nobody for spanners."""
ALL_PATHS = tuple(map(str, PathId))


@dataclass(frozen=True, slots=True)
class Forecast:
    truth: frozenset[str]
    """Paths truly at work; ``none`` alone for a sound cylinder."""
    share: Mapping[str, float]
    """Probability that each path is what is wrong, a pair's mass shared; sums to 1."""
    involved: Mapping[str, float]
    """Probability that each path is at work at all."""
    named: tuple[str, ...]
    """Paths named; empty: cannot tell."""
    background: str
    stated: float = 0.0
    helped: bool = False
    """Whether a sound cylinder's clips and a loss reading were there."""

    @property
    def right(self) -> bool:
        return bool(self.named) and set(self.named) <= self.truth

    @property
    def called_leak(self) -> bool:
        return any(p in LEAK_PATHS for p in self.named)

    @property
    def top(self) -> tuple[float, bool]:
        path = max(ALL_PATHS, key=lambda p: self.involved.get(p, 0.0))
        return self.involved.get(path, 0.0), path in self.truth

    @property
    def truth_label(self) -> str:
        return "pair" if len(self.truth) > 1 else next(iter(self.truth))


def earned(involved: Mapping[str, float]) -> tuple[str, ...]:
    """Paths whose odds of being involved have earned their name."""
    return tuple(p for p in ALL_PATHS if involved.get(p, 0.0) >= NAME_AT)


ECE_BINS = 10
ECE_SIMULATIONS = 400
"""Outcomes a perfect forecaster is given, to find the floor of its ECE."""
ECE_SEED = 20_240
SURE = 0.95
"""Odds from which on a named path is taken for certain by whoever reads it."""
LEAST_PROBABILITY = 1e-6
"""Log loss takes no probability below this, so that one certain error does not hide all else."""


class Scores(msgspec.Struct, frozen=True, kw_only=True):
    rounds: int
    right: Rate
    coverage: Rate
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


def ece(confidence: NDArray[np.float64], right: NDArray[np.float64]) -> float:
    """Expected calibration error in ten equal bins; ``right`` may be a stack [shape=(..., n)] and is then averaged."""
    # Confidence of just 1 belongs to the last bin.
    bins = np.clip((confidence * ECE_BINS).astype(np.intp), 0, ECE_BINS - 1)
    gap = (right - confidence) @ np.eye(ECE_BINS)[bins] / confidence.size
    return float(np.abs(gap).sum(axis=-1).mean())


def ece_floor(confidence: NDArray[np.float64]) -> float:
    """Mean ECE over outcomes drawn from the confidences themselves."""
    rng = np.random.default_rng(ECE_SEED)
    drawn = rng.random((ECE_SIMULATIONS, confidence.size)) < confidence
    return ece(confidence, drawn.astype(np.float64))


class Bar(NamedTuple):
    name: str
    limit: str
    figure: Callable[[Scores], float | None]
    passes: Callable[[Scores, float], bool]


ROUND_BARS = (
    Bar("right of named", ">= 97 %", lambda s: s.right.value, lambda s, v: v >= 0.97),
    Bar("right at 95 %+", ">= 95 %", lambda s: s.sure.value, lambda s, v: v >= 0.95),
    Bar("false calls", "<= 2 %", lambda s: s.false_calls.value, lambda s, v: v <= 0.02),
    Bar("named", ">= 75 %", lambda s: s.coverage.value, lambda s, v: v >= 0.75),
    Bar("named with help", ">= 85 %", lambda s: s.helped.value, lambda s, v: v >= 0.85),
    Bar("Brier", "<= 0.15", lambda s: s.brier, lambda s, v: v <= 0.15),
    Bar("log loss", "<= 0.40", lambda s: s.log_loss, lambda s, v: v <= 0.40),
    Bar("ECE", "<= 1.5 x floor", lambda s: s.ece, lambda s, v: v <= 1.5 * s.ece_floor),
)
"""Held in every world by itself."""
COMPARED: tuple[tuple[str, int, Callable[[Scores], float | None]], ...] = (
    ("right of answered", 1, lambda s: s.right.value),
    ("coverage", 1, lambda s: s.coverage.value),
    ("false calls", -1, lambda s: s.false_calls.value),
    ("AUGRC", -1, lambda s: s.augrc),
    ("Brier", -1, lambda s: s.brier),
    ("log loss", -1, lambda s: s.log_loss),
    ("ECE", -1, lambda s: s.ece),
)
"""Scores on which our method should be better than every peer; 1 where more is better, -1 where less is."""
DEPTH_BAR_DB = 1.0
"""Detection depth may lie this far above the limit."""
FALSE_ALARM_FACTOR = 2.0
"""Measured false alarm within this factor of the stated one, either way."""
COVERAGE_BAR = (0.93, 0.97)
"""Share of 95 % intervals that hold the truth."""


def not_beaten(ours: Scores, peer: Scores) -> tuple[str, ...]:
    """Scores on which the peer is as good as ours or better."""
    both = ((name, sign, figure(ours), figure(peer)) for name, sign, figure in COMPARED)
    return tuple(name for name, sign, a, b in both if a is not None and b is not None and sign * b >= sign * a)


def standing(bar: Bar, scores: Scores) -> str:
    """``met`` or ``MISSED``; ``no rounds`` where there is no figure."""
    value = bar.figure(scores)
    return "no rounds" if value is None else "met" if bar.passes(scores, value) else "MISSED"
