"""Air at the points under one set of causes: draws of every level, how the powers add, how likely each draw is.

Symbols: n draws, P points. Blow-by is always there; each source reaches its own point directly and the others by
transfer, with a spread. Sound-cylinder clips say how loud normal blow-by is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import LEAKS, Hypothesis
from listen.judge.log_sum import log_sum
from listen.judge.loudness import LEVELS_DB
from listen.judge.smoothing import STRAY, STRAY_IN_EVENTS, Smoothed, smooth
from listen.judge.sources import (
    BETWEEN_CYLINDERS_DB,
    DRAWS,
    Source,
    aimed_draws,
    own_indexes,
    prior_over_levels,
    transfers,
)
from listen.trade.points import PathId

APART_SHARE = 0.05
"""Share of leaks heard at their own points only. Without it, a very loud leak whose cross-talk is missing elsewhere
would count against its own path; more of it than this raises the log loss of the accuracy bench's tuning rounds."""
NO_AIR_DB = -200.0
"""Level of what does not reach a point."""
MOST_STEP_DB = 6.0
"""Points of one engine differ by a few decibels in background (2 dB standard deviation at the bench)."""
SET_UP_BALANCE_DB = 3.5
"""With an open valve on each side, intake and tailpipe are about equally loud."""

Contribution = tuple[NDArray[np.float64], NDArray[np.float64]]
"""One source's level at every point and its spread there, both [shape=(n, P)]."""


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Draws of the net hiss level at every point under one set of causes."""

    net_db: NDArray[np.float64]
    """Whitened level at each point [shape=(n, P)]."""
    spread_db: NDArray[np.float64]
    """How uncertainly it gets there [shape=(n, P)]."""
    blow_by_db: NDArray[np.float64]
    """The normal blow-by's part of it [shape=(n, P)]."""
    log_weight: NDArray[np.float64]
    """Log prior weight, sums to 1 [shape=(n,)]."""


@dataclass(frozen=True, slots=True, eq=False)
class BlowBy:
    """Normal blow-by: level draws at the filler, and how it reaches each point (sharpened by sound-cylinder clips)."""

    level: NDArray[np.float64]
    log_weight: NDArray[np.float64]
    offset_db: NDArray[np.float64]
    """Mean level at each point about the draw [shape=(P,)]."""
    spread_db: NDArray[np.float64]
    fixed: NDArray[np.bool_]
    """Points where a sound cylinder's clip states the level itself; ``offset_db`` is then absolute."""

    @classmethod
    def of(cls, evidence: RoundEvidence, tables: list[Smoothed | None]) -> BlowBy:
        source = Source(PathId.NONE)
        own = next(iter(own_indexes(source, evidence)), None)
        ways = transfers(source, evidence, own)
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
    """Background at the source's own point over that at each point, dB: the same air stands out less in more noise.

    Held within ``MOST_STEP_DB``: beyond it the input gain was changed rather than the noise.
    """
    level = np.array([p.background_db for p in evidence.points])
    step = (np.median(level) if own is None else level[own]) - level
    return np.asarray(np.clip(step, -MOST_STEP_DB, MOST_STEP_DB))


def point_tables(evidence: RoundEvidence) -> list[Smoothed | None]:
    """Likelihood table of each point, ``None`` where no air clip could be used."""
    return [
        None if p.air is None else smooth(p.air, STRAY_IN_EVENTS if p.in_events else STRAY) for p in evidence.points
    ]


def draw_levels(
    evidence: RoundEvidence, tables: list[Smoothed | None], blow_by: BlowBy, hypothesis: Hypothesis
) -> Draws:
    """Draw the levels at all points under one set of causes."""
    log_w = blow_by.log_weight.copy()
    contributions: list[Contribution] = [_blow_by_at(blow_by)]
    own_only: list[NDArray[np.bool_]] = []
    levels: list[NDArray[np.float64]] = []
    every = 1
    for k, source in enumerate(Source(p) for p in _sounding(hypothesis.paths)):
        ways = _ways_out(source, evidence, tables)
        if hypothesis.paths == (PathId.SET_UP,) and k == 1:
            level = levels[0] + SET_UP_BALANCE_DB * _gaussian_draws()
        else:
            aimed = [aimed_draws(prior_over_levels(source), w.likelihood, k) for w in ways]
            level, log_weight = _in_turn(aimed, every)
            log_w += log_weight
        levels.append(level)
        at, spread, own = _in_turn([(w.at_db, w.spread_db, w.own) for w in ways], every)
        every *= len(ways)
        contributions.append((level[:, None] + at, spread))
        own_only.append(own)
    log_w -= log_sum(log_w)
    heard = Draws(*_add_powers(contributions), contributions[0][0], log_w)
    return heard if len(contributions) == 1 else _or_apart(heard, contributions, own_only)


@dataclass(frozen=True, slots=True, eq=False)
class _WayOut:
    """A source that comes out first at one of its own points; arrays over points, or over draws and points."""

    likelihood: NDArray[np.float64] | None
    """Of levels at that point, ``None`` where nothing was recorded there."""
    at_db: NDArray[np.float64]
    spread_db: NDArray[np.float64]
    own: NDArray[np.bool_]
    """Where it is heard even if nothing is carried over."""


def _ways_out(source: Source, evidence: RoundEvidence, tables: list[Smoothed | None]) -> list[_WayOut]:
    """One way out for each point where the source may come out first; one for a source without a point of its own."""
    first: list[int | None] = [*own_indexes(source, evidence)]
    return [_way_out(source, evidence, tables, own) for own in first or [None]]


def _way_out(source: Source, evidence: RoundEvidence, tables: list[Smoothed | None], own: int | None) -> _WayOut:
    table = tables[own] if own is not None else None
    ways = transfers(source, evidence, own)
    return _WayOut(
        None if table is None else table.sharp,
        np.array([w.mean_db for w in ways]) + _background_step(evidence, own),
        np.array([w.spread_db for w in ways]),
        np.array([source.path is PathId.FITTING or i == own for i in range(len(ways))]),
    )


def _in_turn(rows: Sequence[tuple[NDArray[Any], ...]], every: int) -> tuple[NDArray[Any], ...]:
    """After every so many draws the next of several ways, so that all count alike beside those of the sources before.

    Arrays [shape=(n,)] or [shape=(n, P)].
    """
    turn = np.arange(DRAWS) // every % len(rows)
    out = []
    for parts in zip(*rows, strict=True):
        each = [p if len(p) == DRAWS else np.broadcast_to(p, (DRAWS, len(p))) for p in parts]
        out.append(each[0] if len(each) == 1 else np.stack(each)[turn, np.arange(DRAWS)])
    return tuple(out)


def _or_apart(heard: Draws, contributions: list[Contribution], own_only: list[NDArray[np.bool_]]) -> Draws:
    """The same draws once more with no cross-talk at all, weighted by how often points stand so well apart."""
    everywhere = np.ones_like(own_only[0])
    apart = [
        (np.where(own, level, NO_AIR_DB), spread)
        for own, (level, spread) in zip([everywhere, *own_only], contributions, strict=True)
    ]
    net, spread = _add_powers(apart)
    return Draws(
        np.concatenate([heard.net_db, net]),
        np.concatenate([heard.spread_db, spread]),
        np.concatenate([heard.blow_by_db, heard.blow_by_db]),
        np.concatenate([heard.log_weight + np.log1p(-APART_SHARE), heard.log_weight + np.log(APART_SHARE)]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A round's points under several sets of causes."""

    tables: list[Smoothed | None]
    """Likelihood table of each point."""
    draws: dict[Hypothesis, Draws]
    """Levels at all points, by set of causes."""

    @classmethod
    def of(cls, evidence: RoundEvidence, sets: Iterable[Hypothesis]) -> Scene:
        """Tables, blow-by and draws for each of ``sets``."""
        tables = point_tables(evidence)
        blow_by = BlowBy.of(evidence, tables)
        return cls(tables, {h: draw_levels(evidence, tables, blow_by, h) for h in sets})


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


def _blow_by_at(b: BlowBy) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    level = np.where(b.fixed, b.offset_db, b.level[:, None] + b.offset_db)
    return level, np.broadcast_to(b.spread_db, level.shape)


def _add_powers(contributions: list[Contribution]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Level and spread of a sum of powers, each known in dB with its spread (first-order error propagation)."""
    power = np.stack([np.exp(level * (np.log(10.0) / 10.0)) for level, _ in contributions])
    spread = np.stack([s for _, s in contributions])
    total = power.sum(axis=0)
    share = power / total
    return 10.0 * np.log10(total), np.sqrt((share**2 * spread**2).sum(axis=0))
