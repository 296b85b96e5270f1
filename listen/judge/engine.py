"""What the other cylinders of an engine say of a round: how loud normal blow-by is at the crankcase's mouths.

All rounds of a job share crankcase and microphone. What the oil filler heard of another cylinder is at least its
blow-by, and no more where nothing else got there. In 111 rounds of whole jobs (``python -m tests jobs``) that takes the
log loss from 0.866 to 0.836 and costs no world a right name. The same of every other point was tried and left out: it
took the log loss up by 0.06 to 0.09 in three worlds of eight.

Levels are handed on in dB re full scale, as one microphone at one gain hears them. The engine's own level is summed
over (a hierarchy: each cylinder lies about it by ``BETWEEN_CYLINDERS_DB``), so that many rounds agree on the engine and
never quite on the next cylinder. A round says the same of its engine whatever it learnt from others: the order in which
rounds were judged changes nothing.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.judge.evidence import RoundEvidence
from listen.judge.log_sum import log_sum
from listen.judge.loudness import LEVELS_DB
from listen.judge.posterior import Posterior
from listen.judge.result import Blown, EngineSay
from listen.judge.smoothing import spread_out
from listen.judge.sources import BETWEEN_CYLINDERS_DB
from listen.trade.points import PathId

ODD = 0.1
"""Share of rounds that say nothing of the others: another gain, another place of the microphone, a slip. It bounds
what one round can do to ten to one. Judgement."""
HALF_DB = 3.0
"""Blow-by counts as all that was heard where it makes at least half of the power. Judgement."""
LEAST_NATS = -12.0
"""Levels less likely than this are alike; what is kept of a round stays short. Judgement."""


def blow_by_learnt(others: Sequence[EngineSay], point: str, zero_dbfs: float) -> NDArray[np.float64] | None:
    """Likelihood (greatest 1) of blow-by's level at a point of a round whose 0 dB is given, dB re full scale
    [shape=(N,)].

    ``None`` where no other round speaks of the point.
    """
    engine, any_said = np.zeros(len(LEVELS_DB)), False
    for one in others:
        for p in one.points:
            # A result kept by another version may stand on another grid of levels: it is passed over.
            if p.point == point and len(p.nats) == len(LEVELS_DB):
                # Each round counts levels from its own shop's sound: both are brought to full scale.
                there = np.interp(LEVELS_DB + zero_dbfs - one.zero_dbfs, LEVELS_DB, _blow_by(p))
                around = spread_out(there, 0.0, BETWEEN_CYLINDERS_DB)
                # A floor for each: one round with a slip in it cannot rule a level out against all others.
                engine += np.log((1.0 - ODD) * around / around.max() + ODD)
                any_said = True
    if not any_said:
        return None
    # Once from a cylinder to the engine and once from there to this one: two cylinders differ by both.
    here = spread_out(np.exp(engine - engine.max()), 0.0, BETWEEN_CYLINDERS_DB)
    here = here / here.max()
    # And one floor for all: however many agree, this cylinder may be unlike them.
    return np.asarray((1.0 - ODD) * here + ODD)


def _blow_by(p: Blown) -> NDArray[np.float64]:
    """Likelihood of a cylinder's blow-by [shape=(N,)]: what was heard is it, or, with a leak besides, at least it."""
    heard = np.exp(np.array(p.nats))
    # With a leak besides, blow-by lies anywhere below what was heard: a level is as likely as all louder ones are.
    at_least = np.cumsum(heard[::-1])[::-1]
    # Both brought to a mean of 1, or the longer one would outweigh its share.
    return np.asarray(p.clean * heard / heard.mean() + (1.0 - p.clean) * at_least / at_least.mean())


def engine_say(cylinder: int, evidence: RoundEvidence, odds: Posterior, *, silent: bool = False) -> EngineSay:
    """What a round says to the others, from odds in which nothing was learnt from them.

    One with a slip in it is ``silent``.
    """
    if silent:
        return EngineSay(cylinder=cylinder, zero_dbfs=0.0, points=())
    clean = np.zeros((len(odds.sets), len(evidence.points)))
    for h, (causes, draws) in enumerate(odds.scene.draws.items()):
        mostly = draws.blow_by_db > draws.net_db - HALF_DB
        clean[h] = odds.scene.weights(causes, evidence.states) @ mostly
    # The least favourable assumptions: a leak handed on as blow-by would excuse the same leak on the next cylinder.
    least = np.min([p @ clean for p in odds.under.values()], axis=0)
    points = []
    for p, share in zip(evidence.points, least, strict=True):
        # The crankcase's mouths only: what the others heard was tried and made the odds worse (above).
        if p.air is not None and PathId.RINGS in p.point.row.own:
            nats = log_sum(p.air + evidence.states[:, None], axis=0)
            kept = np.round(np.maximum(nats - nats.max(), LEAST_NATS), 2)
            points.append(Blown(point=p.point.id, clean=round(float(share), 3), nats=tuple(map(float, kept))))
    return EngineSay(cylinder=cylinder, zero_dbfs=round(evidence.zero_dbfs, 2), points=tuple(points))
