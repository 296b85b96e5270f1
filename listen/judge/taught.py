"""What rounds of known cause taught: boosted trees over a round's traits, and how far their odds move the judge's.

The judge's model says why; where every engine, shop and maker of rounds differs from it in the same way, it cannot
know. Trees taught by rounds of many makers do, as far as these agree; they are asked for no odds of the model. Made by
``python -m tests taught``; DEVELOPERS has whose rounds, and what they are worth where one maker is left out.

Symbols: T whole trees, each of Q questions and Q + 1 ends; eight in turn belong to the eight paths.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from listen.trade.points import PathId

WEIGHTS = (0.35, 0.75)
"""Powers of the model's probability and of what was taught, in the pool of both (log-linear, Genest & Zidek 1986). They
add up to more than one since each knows what the other does not: the trees levels and readings, the model bands, drift
and ways. With makers left out one at a time 855 of 893 names are right by these, log loss .821; by 0.45 and 0.65 819 of
859, .832; by 0.45 and 0.7 940 of 989, .829."""
MOST = float(np.log(10.0))
"""No path is weighed up or down by more than ten times, two against each other by a hundred: judgement, and it costs
nothing (of makers left out one by one the mean log loss is .821 with it, .820 without)."""
LEAST_ODDS = 1e-4
"""Nobody is surer than this that a path is not at work, in what is pooled. Judgement."""
TAUGHT = "taught"
"""Name of the term that this adds to each path's account."""

By = Literal["all", "others"]
"""Rounds that taught: of all makers, or without the worlds that are ours (for the bench that draws from them)."""


@dataclass(frozen=True, slots=True, eq=False)
class Trees:
    """Trees that tell the log probability of each path, less a constant."""

    traits: tuple[str, ...]
    """Names of the traits asked for, as numbered in ``asked``."""
    start: NDArray[np.float64]
    """Before any tree [shape=(8,)], in the order of ``PathId``."""
    asked: NDArray[np.intp]
    """Trait of each question [shape=(T, Q)]."""
    bound: NDArray[np.float64]
    """Right where the trait is above it [shape=(T, Q)]."""
    missing: NDArray[np.bool_]
    """Right where the round does not have the trait [shape=(T, Q)]."""
    ends: NDArray[np.float64]
    """What is added [shape=(T, Q + 1)]."""

    def odds(self, traits: Mapping[str, float]) -> dict[PathId, float]:
        """Log probability of each path, by the trees alone."""
        values = np.array([traits[name] for name in self.traits])[self.asked]
        right = np.where(np.isnan(values), self.missing, values > self.bound).astype(np.intp)
        tree, at = np.arange(len(right)), np.zeros(len(right), dtype=np.intp)
        # A whole tree of depth d has 2^d - 1 questions.
        for _ in range(right.shape[1].bit_length()):
            at = 2 * at + 1 + right[tree, at]
        added = self.ends[tree, at - right.shape[1]].reshape(-1, len(self.start)).sum(axis=0) + self.start
        return dict(zip(PathId, map(float, added - np.log(np.exp(added).sum())), strict=True))

    def moves(self, traits: Mapping[str, float], share: Mapping[PathId, float]) -> dict[PathId, float]:
        """What to add to the log probability of each path weighed, given ``share`` by the judge's own model."""
        odds = self.odds(traits)
        model, taught = WEIGHTS
        moves = {p: taught * odds[p] - (1.0 - model) * float(np.log(max(s, LEAST_ODDS))) for p, s in share.items()}
        return {p: float(np.clip(move, -MOST, MOST)) for p, move in moves.items()}


@cache
def trees(by: By = "all") -> Trees:
    """Those that are shipped."""
    with (files("listen.judge") / f"taught-{by}.npz").open("rb") as file, np.load(file) as read:
        wide = {"asked": np.intp, "bound": np.float64, "missing": np.bool_, "ends": np.float64, "start": np.float64}
        return Trees(tuple(map(str, read["traits"])), **{name: read[name].astype(to) for name, to in wide.items()})
