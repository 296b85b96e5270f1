"""Odds over sets of causes, with each point's and each reading's share in them.

For each set the unknown levels, transfers and blow-by are summed over; evidence is added one source at a time, in
walking order, then the readings. What each step adds to a path's log odds is its weight of evidence in decibans
(I. J. Good): the steps and the prior add up to the odds exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from listen.judge.air import BlowBy, Draws, draw_levels, point_tables
from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import Hypothesis, hypotheses
from listen.judge.readings import terms
from listen.judge.smoothing import Smoothed
from listen.trade.points import PathId

SHARPNESS = 1.3
"""Power to which what the points say is raised. The model's spreads (transfer, template, level) are broader together
than each is alone, so that odds came out too timid; one power, set by the log loss of the accuracy bench's tuning
rounds, mends their calibration (temperature scaling, Guo et al. 2017)."""
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
    columns: list[tuple[str, NDArray[np.float64]]] = _point_columns(evidence, sets)
    for name, term in terms(evidence.readings, evidence.bubbles):
        columns.append((name, np.array([term(h.paths) for h in sets])))
    log_p = np.log([h.prior for h in sets])
    stages = [("prior", _normal(log_p))]
    for name, column in columns:
        log_p = log_p + column
        stages.append((name, _normal(log_p)))
    return Posterior(sets, np.exp(stages[-1][1]), _decibans(sets, stages))


def _normal(log_p: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(log_p - np.logaddexp.reduce(log_p))


def _decibans(
    sets: tuple[Hypothesis, ...], stages: list[tuple[str, NDArray[np.float64]]]
) -> dict[PathId, dict[str, float]]:
    out: dict[PathId, dict[str, float]] = {}
    for path in PathId:
        inside = np.array([path in h.paths for h in sets])
        if not inside.any():
            continue
        odds = [
            DB * float(np.logaddexp.reduce(log_p[inside]) - np.logaddexp.reduce(log_p[~inside])) for _, log_p in stages
        ]
        steps = [odds[0], *(b - a for a, b in pairwise(odds))]
        out[path] = {name: step for (name, _), step in zip(stages, steps, strict=True)}
    return out


def _point_columns(evidence: RoundEvidence, sets: tuple[Hypothesis, ...]) -> list[tuple[str, NDArray[np.float64]]]:
    """Log likelihood that each point adds, given the points before it [shape=(H,)], by point."""
    tables = point_tables(evidence)
    if not any(tables):
        return []
    blow_by = BlowBy.of(evidence, tables)
    steps = np.array([_stages(draw_levels(evidence, tables, blow_by, h), tables) for h in sets])
    gains = SHARPNESS * np.diff(steps, axis=1, prepend=0.0)
    return [(p.point.id, gains[:, i]) for i, p in enumerate(evidence.points) if tables[i] is not None]


def _stages(draws: Draws, tables: list[Smoothed | None]) -> NDArray[np.float64]:
    """Log likelihood of the points up to and including each [shape=(P,)]."""
    total = draws.log_weight
    out = []
    for i, table in enumerate(tables):
        if table is not None:
            total = total + table(draws.net_db[:, i], draws.spread_db[:, i])
        out.append(float(np.logaddexp.reduce(total)))
    return np.array(out)
