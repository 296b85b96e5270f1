"""How much of a source's air is carried to points that are not its own: what all points of a round share of it."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from listen.judge.assumptions import Assumptions
from listen.judge.evidence import RoundEvidence
from listen.judge.sources import DRAWS, MOST_TALK_DB, AirSource, transfers
from listen.trade.points import PathId

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
CARRIED_BELOW_DB = -3.0
"""Cross-talk, as against a point's own mouth or one beside the source. Judgement: METHOD puts cross-talk at -5 dB
and less."""


def bay_db(evidence: RoundEvidence, assumed: Assumptions) -> NDArray[np.float64]:
    """A fitting's transfers, which what gets out beside the plug has too [shape=(P,)]."""
    ways = transfers(AirSource(PathId.FITTING), evidence, None, assumed, evidence.readings.valves)
    return np.array([w.mean_db for w in ways])


def carried_on(
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
    # Never lifted above the most that is carried, but what the table itself puts higher stays there.
    moved = np.where(elsewhere, np.minimum(at + carried, np.maximum(MOST_TALK_DB, at)), at)
    louder = elsewhere & (beside + bay > moved)
    return np.where(louder, beside + bay, moved), np.where(louder, np.minimum(spread, BAY_SPREAD_DB), spread)


@cache
def _in_steps(steps_db: tuple[float, ...], step: float) -> NDArray[np.float64]:
    """One of some steps for each draw, all as often [shape=(n, 1)]; only to be read."""
    at = (step * np.arange(1, DRAWS + 1) % 1.0 * len(steps_db)).astype(int)
    # A column: the draw of a step holds at every point, since what a duct swallows it swallows for all of them.
    return np.asarray(np.array(steps_db)[at][:, None])
