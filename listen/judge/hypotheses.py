"""The sets of causes the judge weighs: sound, each single path, pairs, a fitting, a set-up fault."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from listen.trade.paths import path_table
from listen.trade.points import PathId

LEAKS = (
    PathId.INTAKE_VALVE,
    PathId.EXHAUST_VALVE,
    PathId.RINGS,
    PathId.COOLANT_PASSAGE,
    PathId.NEXT_CYLINDER,
)
"""Escape paths of a cylinder that can be at work together."""
UNHEARD_SHARE = 0.1
"""Prior of a path at whose own point nothing was recorded, about its usual one: suspicion chooses the walk."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One set of causes with its prior probability."""

    paths: tuple[PathId, ...]
    """``(none,)``, one path, or two."""
    prior: float


def hypotheses(heard: frozenset[PathId]) -> tuple[Hypothesis, ...]:
    """All sets, given the paths whose own point was recorded; priors sum to 1."""
    table = path_table()
    prior = {
        row.path: row.prior * (1.0 if row.path in heard or row.path not in LEAKS else UNHEARD_SHARE)
        for row in table.cause
    }
    sets = [Hypothesis((p,), w) for p, w in prior.items()]
    sets += [
        Hypothesis((a, b), table.pair_factor * prior[a] * prior[b])
        for a, b in combinations(LEAKS, 2)
        if a in heard and b in heard
    ]
    total = sum(h.prior for h in sets)
    return tuple(Hypothesis(h.paths, h.prior / total) for h in sets)
