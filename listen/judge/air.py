"""Air at the points under one set of causes: draws of every level, how the powers add, how likely each draw is.

Symbols: n draws, P points, X states of the shared drift. Blow-by is always there; each source reaches its own point
directly and the others by transfer, with a spread. Sound-cylinder clips say how loud normal blow-by is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.judge.assumptions import Assumptions
from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import LEAKS, Hypothesis
from listen.judge.log_sum import log_sum
from listen.judge.loudness import LEVELS_DB
from listen.judge.smoothing import Smoothable, Smoothed, seen_through, spread_out
from listen.judge.sources import (
    BETWEEN_CYLINDERS_DB,
    DRAWS,
    MOST_TALK_DB,
    AirSource,
    aimed_draws,
    even_draws,
    own_indexes,
    prior_over_levels,
    transfers,
    valve_states,
)
from listen.trade.points import PathId
from listen.trade.transfer import OWN_SPREAD_DB

CARRIED_DB = (4.0, 0.0, -4.0, -8.0, -14.0)
"""How much of a leak is carried elsewhere is common to all points, about the table's means: each as likely. A leak in a
shut duct is heard at its own mouth only. Judgement."""
CARRIED_STEPS = (0.618033988749895, 0.41421356237309515, 0.7320508075688772)
"""Steps of the sequences they are drawn by (golden ratio, square roots of two and three), others than the levels'; the
last is blow-by's."""
BAY_DB = (-np.inf,) * 18 + (-1.0, -5.0)
"""How much of any air gets out beside the plug as a fitting's does, about its own point: in one round of ten ducts
swallow so much that hose, joints and the other mouths of a small bay are about as loud. Then a hiss that is alike
everywhere is not yet the fitting. Judgement, with 183 rounds of a fourth stranger in sight: of 12 fittings named 4 were
valves and rings, 98 to 99 % sure; log loss there 2.05, with it 1.71, of the worlds .587 and .574, of the third
stranger 1.35 and 1.34, of the independent simulation .656 both."""
BAY_STEPS = (0.6457513110645906, 0.3166247903553998, 0.8729833462074170)
"""The same for these (square roots of seven, eleven and fifteen)."""
BAY_SPREAD_DB = 2.5
"""Spread of what gets out so. Judgement: that of points in one bay."""
SOUND_STEP = 0.23606797749978967
"""The same for levels that a sound cylinder's clip states (square root of five)."""
UNLIKE_SHARE, UNLIKE_DB = 0.1, 9.0
"""Some sound cylinders are much unlike this one: another microphone's place, a quieter ring pack, a gain that moved.
Judgement, like the next: rounds of the worlds `flow`, `pocket` and `worn` were looked at, nothing was fitted."""
NO_LIKENESS = 0.02
"""Share of sound-cylinder clips that say nothing: the air was off, or the cylinder was none of the sound ones.
Judgement."""
FOLLOWING = 0.1
"""Share of chance sounds that could be taken for switched air: one that starts and stops by itself coincides with
one edge in six at most, and a half cycle that stands out is left out. Judgement."""
CARRIED_BELOW_DB = -3.0
"""Cross-talk, as against a point's own mouth or one beside the source. Judgement: METHOD puts cross-talk at -5 dB
and less."""
SET_UP_BALANCE_DB = 8.0
"""With an open valve on each side one is seldom much louder than the other, but ducts and lifts differ. Judgement."""

Contribution = tuple[NDArray[np.float64], NDArray[np.float64]]
"""One source's level at every point and its spread there, both [shape=(n, P)]."""
Levels = tuple[NDArray[np.float64], NDArray[np.float64]]
"""One source's levels at its own point and their log weights, both [shape=(n,)]."""


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Draws of the net hiss level at every point under one set of causes."""

    net_db: NDArray[np.float64]
    """Level at each point [shape=(n, P)]."""
    spread_db: NDArray[np.float64]
    """How uncertainly it gets there [shape=(n, P)]."""
    blow_by_db: NDArray[np.float64]
    """The normal blow-by's part of it [shape=(n, P)]."""
    log_weight: NDArray[np.float64]
    """Log prior weight, sums to 1 [shape=(n,)]."""


@dataclass(frozen=True, slots=True, eq=False)
class BlowBy:
    """Normal blow-by: draws of its level at each point (sharpened by sound-cylinder clips)."""

    db: NDArray[np.float64]
    """[shape=(n, P)]."""
    spread_db: NDArray[np.float64]
    """How uncertainly it gets there [shape=(n, P)]."""
    log_weight: NDArray[np.float64]
    """[shape=(n,)]."""

    @classmethod
    def of(
        cls,
        evidence: RoundEvidence,
        sharp: list[NDArray[np.float64] | None],
        assumed: Assumptions,
        bay: NDArray[np.float64],
    ) -> BlowBy:
        """Blow-by that comes out first at each of the crankcase's mouths in turn: filler or breather."""
        source = AirSource(PathId.NONE)
        own: list[int | None] = [*own_indexes(source, evidence)]
        return cls(*_in_turn([_blow_by(evidence, sharp, source, o, assumed, bay) for o in own or [None]], 1))


def _blow_by(
    evidence: RoundEvidence,
    sharp: list[NDArray[np.float64] | None],
    source: AirSource,
    own: int | None,
    assumed: Assumptions,
    bay: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Levels and spreads at all points [shape=(n, P)] and log weights [shape=(n,)], out first at the point ``own``."""
    ways = transfers(source, evidence, own, assumed, evidence.readings.valves)
    prior = prior_over_levels(source, assumed)
    stated: dict[int, NDArray[np.float64]] = {}
    for i, p in enumerate(evidence.points):
        if p.sound is None and p.learnt is None:
            continue
        here = prior if i == own else spread_out(prior, ways[i].mean_db, ways[i].spread_db)
        if p.learnt is not None:
            here = here * p.learnt / (here @ p.learnt)
        if p.sound is not None:
            here = _of_another_cylinder(here, p.sound)
        if i == own:
            prior = here
        else:
            stated[i] = here
    # Number 2: sources take the first two sequences, so that no level is drawn in step with another.
    level, log_weight = aimed_draws(prior, sharp[own] if own is not None else None, 2)
    # Blow-by is carried on as any other air: held to the table's means, silence elsewhere would speak for a leak.
    at, spread = _carried_on(np.array([w.mean_db for w in ways]), np.array([w.spread_db for w in ways]), 2, bay)
    db = level[:, None] + at
    for i, density in stated.items():
        # An own sequence for each point: what two sound clips leave open is independent.
        u = even_draws(SOUND_STEP * (i + 1))
        db[:, i] = np.interp(u, np.cumsum(density), LEVELS_DB)
        spread[:, i] = OWN_SPREAD_DB
    return db, spread, log_weight


def _of_another_cylinder(prior: NDArray[np.float64], sound: NDArray[np.float64]) -> NDArray[np.float64]:
    """What a sound cylinder's clip says of this one's normal blow-by [shape=(N,)]."""
    seen = np.exp(sound - sound.max())
    # Bayes through the difference between two cylinders: what stands in the prior's tail stays there.
    alike, unlike = seen_through(seen, BETWEEN_CYLINDERS_DB), seen_through(seen, UNLIKE_DB)
    near = (1.0 - UNLIKE_SHARE) * alike + UNLIKE_SHARE * unlike
    here = prior * ((1.0 - NO_LIKENESS) * near + NO_LIKENESS * float(prior @ seen))
    return np.asarray(here / here.sum())


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A round's points under several sets of causes and one set of assumptions."""

    tables: list[Smoothed | None]
    """Likelihood table of each point, ``None`` where no air clip could be used."""
    draws: dict[Hypothesis, Draws]
    """Levels at all points, by set of causes."""

    @classmethod
    def of(
        cls,
        evidence: RoundEvidence,
        smoothable: Sequence[Smoothable | None],
        sets: Iterable[Hypothesis],
        assumed: Assumptions,
    ) -> Scene:
        """Tables, blow-by and draws for each of ``sets``."""
        tables = [
            None if s is None else s.with_stray(assumed.stray * (FOLLOWING if p.switched else 1.0))
            for s, p in zip(smoothable, evidence.points, strict=True)
        ]
        sharp = [None if t is None else t.sharp(evidence.states) for t in tables]
        fitting = transfers(AirSource(PathId.FITTING), evidence, None, assumed, evidence.readings.valves)
        bay = np.array([w.mean_db for w in fitting])
        blow_by = BlowBy.of(evidence, sharp, assumed, bay)
        ways: dict[PathId | None, list[Contribution]] = {}
        aimed: dict[tuple[PathId | None, int], list[Levels]] = {}
        draws = {h: _draw(evidence, sharp, blow_by, h, assumed, ways, aimed, bay) for h in sets}
        return cls(tables, draws)

    def weights(self, hypothesis: Hypothesis, states: NDArray[np.float64]) -> NDArray[np.float64]:
        """How likely each draw of a set of causes is after all that was heard [shape=(n,)], sum 1."""
        draws = self.draws[hypothesis]
        total = draws.log_weight[:, None] + states
        for i, table in enumerate(self.tables):
            if table is not None:
                total += table(draws.net_db[:, i], draws.spread_db[:, i])
        # Summed over the drift's states only now: whichever holds, it holds at all points.
        w = np.exp(total - total.max()).sum(axis=1)
        return np.asarray(w / w.sum())


def smoothables(evidence: RoundEvidence) -> list[Smoothable | None]:
    """What all sets of assumptions share: each point's likelihood, spread out."""
    return [None if p.air is None else Smoothable.of(p.air, p.in_events) for p in evidence.points]


def _draw(
    evidence: RoundEvidence,
    sharp: list[NDArray[np.float64] | None],
    blow_by: BlowBy,
    hypothesis: Hypothesis,
    assumed: Assumptions,
    ways: dict[PathId | None, list[Contribution]],
    aimed: dict[tuple[PathId | None, int], list[Levels]],
    bay: NDArray[np.float64],
) -> Draws:
    """Draw the levels at all points under one set of causes."""
    log_w = blow_by.log_weight.copy()
    contributions = [(blow_by.db, blow_by.spread_db)]
    levels: list[NDArray[np.float64]] = []
    every = 1
    for k, source in enumerate(_sounding(hypothesis, bool(evidence.shut_heard))):
        own: list[int | None] = [*own_indexes(source, evidence)]
        own = own or [None]
        # Every mouth beside every state of the neighbours' valves.
        states = valve_states(source, evidence)
        # The same for every set that holds the source: worked out once, and so are its draws in that place.
        if source.path not in ways:
            rows = [transfers(source, evidence, o, assumed, v) for v in states for o in own]
            ways[source.path] = [(np.array([w.mean_db for w in r]), np.array([w.spread_db for w in r])) for r in rows]
        # The piston off top dead centre opens both valves: the second side is about as loud as the first.
        if hypothesis.paths == (PathId.SET_UP,) and k == 1:
            level = levels[0] + SET_UP_BALANCE_DB * _gaussian_draws()
        else:
            if (source.path, k) not in aimed:
                prior = prior_over_levels(source, assumed)
                aimed[source.path, k] = [aimed_draws(prior, None if o is None else sharp[o], k) for o in own]
            level, log_weight = _in_turn(aimed[source.path, k] * len(states), every)
            log_w += log_weight
        levels.append(level)
        at, spread = _in_turn(ways[source.path], every)
        if source.path in LEAKS:
            at, spread = _carried_on(at, spread, k, bay)
        # The next source turns once this one has been through all its mouths: every pair of mouths counts alike.
        every *= len(own) * len(states)
        contributions.append((level[:, None] + at, spread))
    # First stands the blow-by; its part is told apart from the leak's later on.
    return Draws(*_add_powers(contributions), contributions[0][0], log_w - log_sum(log_w))


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


def _carried_on(
    at: NDArray[np.float64], spread: NDArray[np.float64], k: int, bay: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Transfers' means and spreads for each draw of source number k [shape=(n, P)], from the table's [(P,) or (n, P)]:
    the means with one of ``CARRIED_DB``, or what gets out in the ``bay`` (a fitting's transfers) where that is more.
    """
    carried, beside = (
        _in_steps(steps_db, step[k]) for steps_db, step in ((CARRIED_DB, CARRIED_STEPS), (BAY_DB, BAY_STEPS))
    )
    elsewhere = at < CARRIED_BELOW_DB
    # Air comes out first at its own point.
    moved = np.where(elsewhere, np.minimum(at + carried, np.maximum(MOST_TALK_DB, at)), at)
    louder = elsewhere & (beside + bay > moved)
    return np.where(louder, beside + bay, moved), np.where(louder, np.minimum(spread, BAY_SPREAD_DB), spread)


@cache
def _in_steps(steps_db: tuple[float, ...], step: float) -> NDArray[np.float64]:
    """One of some steps for each draw, all as often [shape=(n, 1)]; only to be read."""
    at = (step * np.arange(1, DRAWS + 1) % 1.0 * len(steps_db)).astype(int)
    return np.asarray(np.array(steps_db)[at][:, None])


def _sounding(hypothesis: Hypothesis, shut_heard: bool) -> list[AirSource]:
    """Sources that a set of causes brings beside the normal blow-by.

    A fitting heard with the cylinder side shut off sounds in the clips the air is compared with, too.
    """
    paths = () if shut_heard and hypothesis.paths == (PathId.FITTING,) else hypothesis.paths
    if paths == (PathId.SET_UP,):
        paths = (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE)
    return [AirSource(p) for p in paths if p in (*LEAKS, PathId.FITTING)] + [AirSource(None)] * hypothesis.outside


def _gaussian_draws() -> NDArray[np.float64]:
    """Standard normal draws of low discrepancy [shape=(n,)] (Box-Muller over the golden-ratio sequence)."""
    i = np.arange(1, DRAWS + 1)
    u, v = (i - 0.5) / DRAWS, (0.618033988749895 * i) % 1.0
    return np.asarray(np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v))


def _add_powers(contributions: list[Contribution]) -> Contribution:
    """Level and spread of a sum of powers, each known in dB with its spread (first-order error propagation)."""
    power = np.stack([np.exp(level * (np.log(10.0) / 10.0)) for level, _ in contributions])
    spread = np.stack([s for _, s in contributions])
    total = power.sum(axis=0)
    share = power / total
    return 10.0 * np.log10(total), np.sqrt((share**2 * spread**2).sum(axis=0))
