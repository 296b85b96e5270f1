"""Odds over sets of causes, with each point's and each reading's share in them.

For each set the unknown levels, transfers and blow-by are summed over; evidence is added one source at a time, points
in walking order, then the readings, and once more in the reverse of that order. What each step adds to a path's log
odds, averaged over the two orders, is its weight of evidence in decibans (I. J. Good): the terms and the prior add up
to the odds exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.air import Draws, Scene
from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import Hypothesis, hypotheses
from listen.judge.log_sum import log_sum
from listen.judge.readings import terms
from listen.judge.smoothing import Smoothed
from listen.trade.points import PathId

SHARPNESS = 1.5
"""Power to which what the points say is raised. The model's spreads (transfer, template, level) are broader together
than each is alone, so that odds came out too timid; one power mends their calibration (temperature scaling, Guo et al.
2017). It gives the least log loss, with and without sound-cylinder clips, over 708 tuning rounds of the accuracy bench;
rounds over recordings too short to give each point sound of its own were left out: all their points rise together."""
Columns = list[tuple[str, NDArray[np.float64]]]
"""Name of a point or reading, and what it adds to the log probability of each set [shape=(H,)]."""
DB = 10.0 / np.log(10.0)
"""Decibans per natural unit of log odds."""


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Probabilities over sets of causes, and how they were reached."""

    sets: tuple[Hypothesis, ...]
    probability: NDArray[np.float64]
    """[shape=(H,)], sum 1."""
    evidence_db: Mapping[PathId, Mapping[str, float]]
    """By path: ``prior``, then one term a point and a reading, in decibans; they add up to the log odds of the path
    being at work."""
    scene: Scene
    """What was summed over."""

    def involved(self, path: PathId) -> float:
        """Probability that ``path`` is at work, alone or in a pair."""
        return float(sum(p for h, p in zip(self.sets, self.probability, strict=True) if path in h.paths))

    def share(self, path: PathId) -> float:
        """Probability that ``path`` is what is wrong; a pair's mass is shared between its two."""
        return float(sum(p / len(h.paths) for h, p in zip(self.sets, self.probability, strict=True) if path in h.paths))

    @property
    def paths(self) -> tuple[PathId, ...]:
        """Every path weighed, in the order of the table."""
        return tuple(p for p in PathId if any(p in h.paths for h in self.sets))


def posterior(evidence: RoundEvidence) -> Posterior:
    """Weigh all sets of causes against the round's evidence. Deterministic."""
    heard = frozenset(p for p in PathId if evidence.hears(p))
    sets = hypotheses(heard)
    prior = np.log([h.prior for h in sets])
    scene = Scene.of(evidence, sets)
    forward, backward = _point_columns(evidence, scene)
    readings = [
        (name, np.array([term(h.paths) for h in sets])) for name, term in terms(evidence.readings, evidence.bubbles)
    ]
    there = _decibans(sets, prior, [*forward, *readings])
    back = _decibans(sets, prior, [*reversed(readings), *backward])
    log_p = prior + sum((column for _, column in (*forward, *readings)), np.zeros(len(sets)))
    return Posterior(sets, np.exp(_normal(log_p)), {p: _mean_terms(there[p], back[p]) for p in there}, scene)


def _mean_terms(there: Mapping[str, float], back: Mapping[str, float]) -> dict[str, float]:
    """Terms of both orders averaged: neither what came first nor what came last gets more than its share."""
    return {name: 0.5 * (db + back[name]) for name, db in there.items()}


def _normal(log_p: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(log_p - log_sum(log_p))


def _decibans(
    sets: tuple[Hypothesis, ...], prior: NDArray[np.float64], columns: Columns
) -> dict[PathId, dict[str, float]]:
    """What each column adds to each path's log odds when added in this order, after the prior's own."""
    names = ["prior", *(name for name, _ in columns)]
    stages = np.cumsum([prior, *(column for _, column in columns)], axis=0)
    out: dict[PathId, dict[str, float]] = {}
    for path in PathId:
        inside = np.array([path in h.paths for h in sets])
        if not inside.any():
            continue
        odds = DB * (log_sum(stages[:, inside]) - log_sum(stages[:, ~inside]))
        out[path] = dict(zip(names, map(float, np.diff(odds, prepend=0.0)), strict=True))
    return out


def _point_columns(evidence: RoundEvidence, scene: Scene) -> tuple[Columns, Columns]:
    """Log likelihood that each point adds to those before it in walking order, and in the reverse of it."""
    looked_up = [_by_point(draws, scene.tables) for draws in scene.draws.values()]
    names = [p.point.id for p, table in zip(evidence.points, scene.tables, strict=True) if table is not None]
    forward = np.array([_gains(log_w, at) for log_w, at in looked_up])
    backward = np.array([_gains(log_w, at[::-1]) for log_w, at in looked_up])
    return (
        [(name, forward[:, i]) for i, name in enumerate(names)],
        [(name, backward[:, i]) for i, name in enumerate(reversed(names))],
    )


def _by_point(draws: Draws, tables: list[Smoothed | None]) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Log weight of each draw, and its log likelihood at each point that has a table [shape=(n,) each]."""
    at = [table(draws.net_db[:, i], draws.spread_db[:, i]) for i, table in enumerate(tables) if table is not None]
    return draws.log_weight, at


def _gains(log_weight: NDArray[np.float64], at: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Log likelihood each point adds, given those before it, sharpened [shape=(P,)]."""
    so_far = log_sum(np.cumsum([log_weight, *at], axis=0)[1:])
    return np.asarray(SHARPNESS * np.diff(so_far, prepend=0.0))
