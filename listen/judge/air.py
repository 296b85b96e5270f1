"""Air at the points under one set of causes: draws of every level, how the powers add, how likely each draw is.

Symbols: n draws, P points, X states of the shared drift. Blow-by is always there; each source reaches its own point
directly and the others by transfer, with a spread. Sound-cylinder clips say how loud normal blow-by is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.assumptions import Assumptions
from listen.judge.blow_by import BlowBy
from listen.judge.carried import bay_db, carried_on
from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import LEAKS, Hypothesis
from listen.judge.log_sum import log_sum
from listen.judge.smoothing import Smoothable, Smoothed
from listen.judge.sources import (
    DRAWS,
    AirSource,
    aimed_draws,
    in_turn,
    own_indexes,
    prior_over_levels,
    transfers,
    valve_states,
)
from listen.trade.points import PathId

FOLLOWING = 0.1
"""Share of chance sounds that could be taken for switched air: one that starts and stops by itself coincides with
one edge in six at most, and a half cycle that stands out is left out. Judgement."""
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
        bay = bay_db(evidence, assumed)
        # Drawn once for all sets of causes: one set is then never better off than another by the luck of its draws.
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
        # The largest is taken out first, or the exponential of what was heard at many points comes to nothing.
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
        # Nothing was recorded at its own point: its level comes from the prior, only the other points speak of it.
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
            level, log_weight = in_turn(aimed[source.path, k] * len(states), every)
            log_w += log_weight
        # Kept before it is carried anywhere: the second open valve goes by the first one's level at its own point.
        levels.append(level)
        at, spread = in_turn(ways[source.path], every)
        # A fitting hisses in the open and a sound from outside reaches all points: no duct swallows or spreads either.
        if source.path in LEAKS:
            at, spread = carried_on(at, spread, k, bay)
        # The next source turns once this one has been through all its mouths: every pair of mouths counts alike.
        every *= len(own) * len(states)
        contributions.append((level[:, None] + at, spread))
    # First stands the blow-by; its part is told apart from the leak's later on.
    # Weights that undo the aiming sum to 1 only on the average; made to, no set of causes gains by it.
    return Draws(*_add_powers(contributions), contributions[0][0], log_w - log_sum(log_w))


def _sounding(hypothesis: Hypothesis, shut_heard: bool) -> list[AirSource]:
    """Sources that a set of causes brings beside the normal blow-by.

    A fitting heard with the cylinder side shut off sounds in the clips the air is compared with, too.
    """
    paths = () if shut_heard and hypothesis.paths == (PathId.FITTING,) else hypothesis.paths
    if paths == (PathId.SET_UP,):
        paths = (hypothesis.side,) if hypothesis.side else (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE)
    # Sound brings no source of its own, since blow-by is always there; a sound from outside is one more.
    return [AirSource(p) for p in paths if p in (*LEAKS, PathId.FITTING)] + [AirSource(None)] * hypothesis.outside


def _gaussian_draws() -> NDArray[np.float64]:
    """Standard normal draws of low discrepancy [shape=(n,)] (Box-Muller over the golden-ratio sequence)."""
    i = np.arange(1, DRAWS + 1)
    # Halves keep u away from nought, where its logarithm has no end.
    u, v = (i - 0.5) / DRAWS, (0.618033988749895 * i) % 1.0
    return np.asarray(np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v))


def _add_powers(contributions: list[Contribution]) -> Contribution:
    """Level and spread of a sum of powers, each known in dB with its spread (first-order error propagation)."""
    # An exponential: a third of the time of a power of ten.
    power = np.stack([np.exp(level * (np.log(10.0) / 10.0)) for level, _ in contributions])
    spread = np.stack([s for _, s in contributions])
    total = power.sum(axis=0)
    share = power / total
    # The spread of a sum goes by shares: what is far below the loudest adds none of its doubt.
    return 10.0 * np.log10(total), np.sqrt((share**2 * spread**2).sum(axis=0))
