"""Normal blow-by: how loud it may be at every point, by the prior, sound cylinders' clips and the engine's others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.assumptions import Assumptions
from listen.judge.carried import carried_on
from listen.judge.evidence import RoundEvidence
from listen.judge.loudness import LEVELS_DB
from listen.judge.smoothing import seen_through, spread_out
from listen.judge.sources import (
    BETWEEN_CYLINDERS_DB,
    AirSource,
    aimed_draws,
    even_draws,
    in_turn,
    own_indexes,
    prior_over_levels,
    transfers,
)
from listen.trade.points import PathId
from listen.trade.transfer import OWN_SPREAD_DB

SOUND_STEP = 0.23606797749978967
"""The same for levels that a sound cylinder's clip states (square root of five)."""
UNLIKE_SHARE, UNLIKE_DB = 0.1, 9.0
"""Some sound cylinders are much unlike this one: another microphone's place, a quieter ring pack, a gain that moved.
Judgement, like the next: rounds of the worlds `flow`, `pocket` and `worn` were looked at, nothing was fitted."""
NO_LIKENESS = 0.02
"""Share of sound-cylinder clips that say nothing: the air was off, or the cylinder was none of the sound ones.
Judgement."""


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
        """Blow-by that comes out first at each of the crankcase's mouths in turn: filler or breather. ``sharp`` are the
        points' likelihoods [shape=(N,) each], ``bay`` a fitting's transfers [shape=(P,)]."""
        source = AirSource(PathId.NONE)
        own: list[int | None] = [*own_indexes(source, evidence)]
        return cls(*in_turn([_blow_by(evidence, sharp, source, o, assumed, bay) for o in own or [None]], 1))


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
        # Nobody spoke of this point: its blow-by follows from that at the own point by the table's transfer.
        if p.sound is None and p.learnt is None:
            continue
        here = prior if i == own else spread_out(prior, ways[i].mean_db, ways[i].spread_db)
        if p.learnt is not None:
            # Both speak of the same air: the engine narrows the prior, the sound cylinder's clip what is left of it.
            here = here * p.learnt / (here @ p.learnt)
        if p.sound is not None:
            here = _of_another_cylinder(here, p.sound)
        # At the own point levels are drawn anyway, elsewhere each replaces what would have been carried there.
        if i == own:
            prior = here
        else:
            stated[i] = here
    # Number 2: sources take the first two sequences, so that no level is drawn in step with another.
    level, log_weight = aimed_draws(prior, sharp[own] if own is not None else None, 2)
    # Blow-by is carried on as any other air: held to the table's means, silence elsewhere would speak for a leak.
    at, spread = carried_on(np.array([w.mean_db for w in ways]), np.array([w.spread_db for w in ways]), 2, bay)
    db = level[:, None] + at
    for i, density in stated.items():
        # An own sequence for each point: what two sound clips leave open is independent.
        u = even_draws(SOUND_STEP * (i + 1))
        db[:, i] = np.interp(u, np.cumsum(density), LEVELS_DB)
        # Stated by what was heard here: how uncertainly air gets here from the own point no longer matters.
        spread[:, i] = OWN_SPREAD_DB
    return db, spread, log_weight


def _of_another_cylinder(prior: NDArray[np.float64], sound: NDArray[np.float64]) -> NDArray[np.float64]:
    """What a sound cylinder's clip says of this one's normal blow-by [shape=(N,)]."""
    seen = np.exp(sound - sound.max())
    # Bayes through the difference between two cylinders: what stands in the prior's tail stays there.
    alike, unlike = seen_through(seen, BETWEEN_CYLINDERS_DB), seen_through(seen, UNLIKE_DB)
    near = (1.0 - UNLIKE_SHARE) * alike + UNLIKE_SHARE * unlike
    # A clip that says nothing is as likely at every level: it weighs by its mean over the prior.
    here = prior * ((1.0 - NO_LIKENESS) * near + NO_LIKENESS * float(prior @ seen))
    return np.asarray(here / here.sum())
