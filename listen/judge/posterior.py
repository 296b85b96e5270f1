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

from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import LEAKS, Hypothesis, hypotheses
from listen.judge.loudness import LEVELS_DB
from listen.judge.readings import terms
from listen.judge.smoothing import Smoothed, smooth
from listen.judge.sources import (
    BETWEEN_CYLINDERS_DB,
    DRAWS,
    Source,
    aimed_draws,
    own_index,
    prior_over_levels,
    transfers,
)
from listen.trade.points import PathId

SET_UP_BALANCE_DB = 3.5
"""With an open valve on each side, intake and tailpipe are about equally loud."""
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
    tables = [None if p.air is None else smooth(p.air) for p in evidence.points]
    if not any(tables):
        return []
    blow_by = _BlowBy.of(evidence, tables)
    steps = np.array([_stages(evidence, tables, blow_by, h) for h in sets])
    gains = np.diff(steps, axis=1, prepend=0.0)
    return [(p.point.id, gains[:, i]) for i, p in enumerate(evidence.points) if tables[i] is not None]


@dataclass(frozen=True, slots=True, eq=False)
class _BlowBy:
    """Normal blow-by: level draws at the filler, and how it reaches each point (sharpened by sound-cylinder clips)."""

    level: NDArray[np.float64]
    log_weight: NDArray[np.float64]
    offset_db: NDArray[np.float64]
    """Mean level at each point about the draw [shape=(P,)]."""
    spread_db: NDArray[np.float64]
    fixed: NDArray[np.bool_]
    """Points where a sound cylinder's clip states the level itself; ``offset_db`` is then absolute."""

    @classmethod
    def of(cls, evidence: RoundEvidence, tables: list[Smoothed | None]) -> _BlowBy:
        source = Source(PathId.NONE)
        ways = transfers(source, evidence)
        own = own_index(source, evidence)
        prior = prior_over_levels(source)
        offset = np.array([w.mean_db for w in ways])
        offset += _background_step(evidence, own)
        spread = np.array([w.spread_db for w in ways])
        fixed = np.zeros(len(ways), dtype=bool)
        for i, p in enumerate(evidence.points):
            if p.sound is None:
                continue
            here = prior if i == own else _spread_out(prior, offset[i], spread[i])
            after = here * np.exp(p.sound - p.sound.max())
            after = _spread_out(after / after.sum(), 0.0, BETWEEN_CYLINDERS_DB)
            if i == own:
                prior = after
            else:
                mean = float(after @ LEVELS_DB)
                offset[i], fixed[i] = mean, True
                spread[i] = float(np.sqrt(after @ (LEVELS_DB - mean) ** 2))
        table = tables[own] if own is not None else None
        level, log_weight = aimed_draws(prior, None if table is None else table.sharp, 2)
        return cls(level, log_weight, offset, spread, fixed)


def _spread_out(density: NDArray[np.float64], shift_db: float, spread_db: float) -> NDArray[np.float64]:
    """A density over ``LEVELS_DB`` shifted and widened."""
    kernel = np.exp(-0.5 * ((LEVELS_DB[:, None] - LEVELS_DB - shift_db) / spread_db) ** 2)
    out = kernel @ density
    return np.asarray(out / out.sum())


def _background_step(evidence: RoundEvidence, own: int | None) -> NDArray[np.float64]:
    """Background at the source's own point over that at each point, dB: the same air stands out less in more noise."""
    level = np.array([p.background_db for p in evidence.points])
    return np.asarray((level.mean() if own is None else level[own]) - level)


def _stages(
    evidence: RoundEvidence, tables: list[Smoothed | None], blow_by: _BlowBy, hypothesis: Hypothesis
) -> NDArray[np.float64]:
    """Log likelihood of the points up to and including each [shape=(P,)]."""
    sources = [Source(p) for p in _sounding(hypothesis.paths)]
    log_w = blow_by.log_weight.copy()
    contributions = [_blow_by_at(blow_by)]
    levels: list[NDArray[np.float64]] = []
    for k, source in enumerate(sources):
        own = own_index(source, evidence)
        table = tables[own] if own is not None else None
        if hypothesis.paths == (PathId.SET_UP,) and k == 1:
            level = levels[0] + SET_UP_BALANCE_DB * _gaussian_draws()
            log_weight = np.zeros(DRAWS)
        else:
            level, log_weight = aimed_draws(prior_over_levels(source), None if table is None else table.sharp, k)
        levels.append(level)
        log_w += log_weight
        ways = transfers(source, evidence)
        at = np.array([w.mean_db for w in ways]) + _background_step(evidence, own)
        contributions.append((level[:, None] + at, np.broadcast_to([w.spread_db for w in ways], (DRAWS, len(ways)))))
    net, spread = _add_powers(contributions)
    total = log_w - np.logaddexp.reduce(log_w)
    out = []
    for i, table in enumerate(tables):
        if table is not None:
            total = total + table(net[:, i], spread[:, i])
        out.append(float(np.logaddexp.reduce(total)))
    return np.array(out)


def _sounding(paths: tuple[PathId, ...]) -> tuple[PathId, ...]:
    """Sources of air that a set of causes brings beside the normal blow-by."""
    if paths == (PathId.SET_UP,):
        return (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE)
    return tuple(p for p in paths if p in (*LEAKS, PathId.FITTING))


def _gaussian_draws() -> NDArray[np.float64]:
    """Standard normal draws of low discrepancy [shape=(n,)] (Box-Muller over the golden-ratio sequence)."""
    i = np.arange(1, DRAWS + 1)
    u, v = (i - 0.5) / DRAWS, (0.618033988749895 * i) % 1.0
    return np.asarray(np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v))


def _blow_by_at(b: _BlowBy) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    level = np.where(b.fixed, b.offset_db, b.level[:, None] + b.offset_db)
    return level, np.broadcast_to(b.spread_db, level.shape)


def _add_powers(
    contributions: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Level and spread of a sum of powers, each known in dB with its spread (first-order error propagation)."""
    power = np.stack([10.0 ** (level / 10.0) for level, _ in contributions])
    spread = np.stack([s for _, s in contributions])
    total = power.sum(axis=0)
    share = power / total
    return 10.0 * np.log10(total), np.sqrt((share**2 * spread**2).sum(axis=0))
