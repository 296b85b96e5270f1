"""What each source of air adds at each point, and the level draws over which the judge sums.

Symbols: x_k level of source k at its own point (dB about the round's mean background), n draws. Draws follow a
low-discrepancy sequence (deterministic) and are aimed where the own point's likelihood is, with weights that undo it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.judge.assumptions import Assumptions
from listen.judge.evidence import RoundEvidence
from listen.judge.loudness import LEVELS_DB
from listen.judge.smoothing import stray_levels
from listen.trade.points import PathId
from listen.trade.transfer import OWN_SPREAD_DB, OpenValve, Transfer, another_mouth, transfer, valves_in_turn

DRAWS = 384
PLASTIC = (0.8191725133961645, 0.6710436067037893, 0.5497004779019703)
"""Steps of the additive recurrence of low discrepancy in up to three dimensions (roots of x^4 = x + 1)."""
AIMED_SHARE = 0.7
"""Share of draws aimed by the own point's likelihood; the rest cover the prior. Judgement."""

HISS_RANGE_DB = (-6.0, 24.0)
HISS_TAPER_DB = 4.0
"""Levels of a leak at its own point: even within the range, tapering outside it. What is looked for is what an ear at
the mouth would hear, about -5 dB and more (METHOD section 6: below that it is hard). Judgement; chosen by 220 rounds
in recorded shops, 120 drawn without the simulator: from -12 dB on, 74 of 78 held 50 to 90 % sure were right."""
BLOW_BY_RANGE_DB = (-12.0, 16.0)
"""Levels of normal blow-by where nothing is known of it (METHOD section 11 saw sound cylinders at +9 to +17 dB)."""
FAINT_SHARE = 0.2
FAINTEST_DB = -16.0
LOUD_SHARE = 0.3
"""Density of louder leaks and blow-by, up to the end of the grid, about that within the range: in a quiet shop either
stands 30 to 55 dB above it. Set with four strangers' rounds in sight (0.05 before): log loss of the fifth's .942 to
.869, the sixth's 1.106 to 1.010, the worlds' .614 to .611, recorded shops' .460 to .463."""
SILENT_SHARE = 0.02
"""Leaks that nobody hears at their own point, however quiet the shop: ducts and silencers may swallow 20-40 dB (METHOD
section 4). Silence alone is then no sound cylinder. Judgement; log loss of the usual odds in 160 rounds of the worlds
.754 -> .686, in 100 of recorded shops .315 -> .321 (0.04: .683 and .325)."""
BETWEEN_CYLINDERS_DB = 2.5
"""Spread of normal blow-by between cylinders of one engine. Judgement; the bench of jobs gives the same within its
noise for 1.8 to 3.5 dB."""
COOLANT_QUIETER_DB = -5.0
"""Air in the coolant is swallowed by the water: its hiss lies lower than another leak's. Judgement."""
MOST_TALK_DB = -4.0
"""Mean cross-talk is never taken for more, but past an open valve: air comes out first at its own point. Judgement."""
THROUGH_VALVES = (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE, PathId.NEXT_CYLINDER)
"""Paths whose air goes on past valves of a neighbour that stand open."""
OUTSIDE_SPREAD_DB = 2.5
"""A sound from elsewhere in the shop reaches all points about alike. Judgement."""


@dataclass(frozen=True, slots=True)
class AirSource:
    """A source of air: a path, normal blow-by (path ``none``), or a sound from outside (no path)."""

    path: PathId | None

    @property
    def hears_as(self) -> PathId | None:
        """Path whose transfer it shares: blow-by goes the way of the rings."""
        return PathId.RINGS if self.path is PathId.NONE else self.path


def prior_over_levels(source: AirSource, assumed: Assumptions) -> NDArray[np.float64]:
    """Prior probability of each of ``LEVELS_DB`` at the source's own point [shape=(N,)], sum 1."""
    if source.path is None:
        w = stray_levels()
    elif source.path is PathId.NONE:
        mean, spread = assumed.blow_by_db
        known = np.exp(-0.5 * ((LEVELS_DB - mean) / spread) ** 2)
        unknown = _within(BLOW_BY_RANGE_DB)
        # As rare beyond as a leak is: in a quiet shop either may stand 40 dB above it, and loudness alone is no fault.
        unknown = np.where(BLOW_BY_RANGE_DB[1] < LEVELS_DB, np.maximum(unknown, LOUD_SHARE), unknown)
        w = (1.0 - assumed.blow_by_open) * known / known.sum() + assumed.blow_by_open * unknown / unknown.sum()
    else:
        shift = COOLANT_QUIETER_DB if source.path is PathId.COOLANT_PASSAGE else 0.0
        high = HISS_RANGE_DB[1] + shift
        w = _within((HISS_RANGE_DB[0] + shift, high))
        w = np.where(high < LEVELS_DB, np.maximum(w, LOUD_SHARE), w)
        w = np.where((high > LEVELS_DB) & (LEVELS_DB > FAINTEST_DB), np.maximum(w, FAINT_SHARE), w)
        w = (1.0 - SILENT_SHARE) * w / w.sum()
        # The lowest level is as good as silence (see judge.loudness).
        w[0] += SILENT_SHARE
    # Draws are aimed by dividing through it: no level is impossible.
    return np.asarray((w + 1e-12) / (w + 1e-12).sum())


def _within(range_db: tuple[float, float]) -> NDArray[np.float64]:
    """Even within a range, tapering outside it."""
    low, high = range_db
    beyond = np.maximum(np.maximum(low - LEVELS_DB, LEVELS_DB - high), 0.0)
    return np.asarray(np.exp(-0.5 * (beyond / HISS_TAPER_DB) ** 2))


def valve_states(source: AirSource, evidence: RoundEvidence) -> list[Mapping[int, OpenValve | None]]:
    """What may stand open in the neighbours whose holes were listened at: one state where the firing order tells it."""
    beside = sorted({p.point.neighbour for p in evidence.points if p.point.neighbour is not None})
    known = evidence.readings.valves
    # Where no hole was listened at, or air goes past no valve, their states change nothing that is summed.
    if known or not beside or source.path not in THROUGH_VALVES:
        return [known]
    return [*valves_in_turn(beside)]


def transfers(
    source: AirSource,
    evidence: RoundEvidence,
    own: int | None,
    assumed: Assumptions,
    valves: Mapping[int, OpenValve | None],
) -> list[Transfer]:
    """How this source is heard at each point of the round, relative to its own point, the one at ``own``.

    ``valves`` says what stands open in the other cylinders."""
    path = source.hears_as
    if path is None:
        return [Transfer(0.0, OUTSIDE_SPREAD_DB)] * len(evidence.points)
    beside = evidence.points[own].point.neighbour if own is not None else None
    out = []
    for i, p in enumerate(evidence.points):
        cylinder = p.point.neighbour if p.point.neighbour is not None else beside
        open_valve = valves.get(cylinder) if cylinder is not None else None
        # Another mouth of the same path, the second tailpipe or neighbour: air is there by way of the first.
        elsewhere = i != own and path in p.point.row.own
        way = another_mouth(p.point) if elsewhere else transfer(path, p.point, open_valve)
        if i == own:
            way = Transfer(0.0, OWN_SPREAD_DB)
        elif way.through_valve:
            way = Transfer(way.mean_db, way.spread_db * assumed.talk_widen)
        # A fitting's air goes through no casting: assumptions of cross-talk leave it as it is.
        elif path not in p.point.row.own and path is not PathId.FITTING:
            mean = min(way.mean_db + assumed.talk_db, MOST_TALK_DB)
            # Upward a way ends near the source's own level: that lies two and a half spreads above the mean at most.
            way = Transfer(mean, min(way.spread_db * assumed.talk_widen, -0.4 * mean))
        out.append(way)
    return out


def own_indexes(source: AirSource, evidence: RoundEvidence) -> list[int]:
    """Places of the points at which the source may come out first: two neighbours' holes, the mouths of two pipes.

    Those without a usable air clip are left out where another has one; empty where none was recorded.
    """
    every = [i for i, p in enumerate(evidence.points) if source.hears_as in p.point.row.own]
    # A mouth that heard nothing usable cannot aim draws; all of them count where none can.
    return [i for i in every if evidence.points[i].air is not None] or every


@cache
def even_draws(step: float) -> NDArray[np.float64]:
    """Numbers between 0 and 1 [shape=(n,)], all an n-th apart, in the order of an additive recurrence.

    The recurrence itself comes as near to 1 as it likes: the one draw there would stand for a tail far less likely.
    """
    sequence = (0.5 + step * np.arange(1, DRAWS + 1)) % 1.0
    return np.asarray((np.argsort(np.argsort(sequence)) + 0.5) / DRAWS)


def aimed_draws(
    prior: NDArray[np.float64], likelihood: NDArray[np.float64] | None, dimension: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Levels [shape=(n,)] and log weights [shape=(n,)] for one source.

    ``likelihood`` [shape=(N,)] is that of the own point, smoothed; ``None`` draws from the prior.
    """
    drawn_from = prior
    if likelihood is not None:
        posterior = prior * likelihood
        # Nothing is left where prior and clip exclude each other: then the prior alone is drawn from.
        if posterior.sum() > 0.0:
            # A share from the prior keeps every weight below 1 / (1 - AIMED_SHARE): no single draw decides a round.
            drawn_from = AIMED_SHARE * posterior / posterior.sum() + (1.0 - AIMED_SHARE) * prior
    u = even_draws(PLASTIC[dimension])
    # Piecewise-constant densities over cells one grid step wide.
    step = LEVELS_DB[1] - LEVELS_DB[0]
    edges = np.append(LEVELS_DB - 0.5 * step, LEVELS_DB[-1] + 0.5 * step)
    cdf = np.concatenate([[0.0], np.cumsum(drawn_from)])
    level = np.interp(u, cdf / cdf[-1], edges)
    # Weights by cell, as the density is: a level between two is not interpolated.
    cell = np.clip(np.searchsorted(edges, level, side="right") - 1, 0, len(prior) - 1)
    return level, np.log(prior[cell]) - np.log(drawn_from[cell])


def in_turn(rows: Sequence[tuple[NDArray[Any], ...]], every: int) -> tuple[NDArray[Any], ...]:
    """After every so many draws the next of several ways, so that all count alike beside those of the sources before.

    Arrays [shape=(n,)] or [shape=(n, P)].
    """
    turn = np.arange(DRAWS) // every % len(rows)
    out = []
    for parts in zip(*rows, strict=True):
        # What holds for all draws is a row of points; as an array by draws all ways can be stacked.
        each = [p if len(p) == DRAWS else np.broadcast_to(p, (DRAWS, len(p))) for p in parts]
        out.append(each[0] if len(each) == 1 else np.stack(each)[turn, np.arange(DRAWS)])
    return tuple(out)
