"""A point's likelihood over levels, smoothed by how uncertainly the air gets there: a table to look levels up in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from listen.judge.loudness import LEVELS_DB

SPREADS_DB: NDArray[np.float64] = np.array([1.0, 2.0, 3.5, 5.5, 8.0, 11.0])
"""Spreads for which the table holds a row. Judgement: between them is interpolated."""
TAIL_SHARE = 0.15
TAIL_FACTOR = 2.5
TAIL_FROM_DB = 5.0
"""Some ways carry much less than usual, a hose off or a throttle shut: this share of them spreads so much further
downward, where the way is not known better. Upward they end near the leak's own level: it comes out there first.
Judgement."""
STEP_DB = float(LEVELS_DB[1] - LEVELS_DB[0])
STRAY_FROM_DB = -10.0
STRAY_FALLS_DB = 8.0
"""What is no air at all is more often faint than loud: a loud one is heard by whoever holds the microphone. Its
level's density falls to 1/e over so much, from about the faintest that counts. Judgement."""
EVENTS_FACTOR = 20.0
"""By how much more likely that is where the increase came in events and not as a steady hiss. Judgement."""
MOST_STRAY = 0.4
"""However likely, it is never taken for granted. Judgement."""


def spread_out(density: NDArray[np.float64], shift_db: float, spread_db: float) -> NDArray[np.float64]:
    """A density over ``LEVELS_DB`` [shape=(N,)] shifted and widened, sum 1."""
    kernel = np.exp(-0.5 * ((LEVELS_DB[:, None] - LEVELS_DB - shift_db) / spread_db) ** 2)
    # A trace everywhere: no level is so unlikely that its logarithm has no end.
    out = kernel @ density + 1e-12
    return np.asarray(out / out.sum())


def seen_through(likelihood: NDArray[np.float64], spread_db: float) -> NDArray[np.float64]:
    """Likelihood of each of ``LEVELS_DB`` where what was heard is another's level that far from it [shape=(N,)]."""
    return np.asarray(_kernel(spread_db, spread_db) @ likelihood)


def _kernel(up_db: float, down_db: float) -> NDArray[np.float64]:
    """Probability of each level (columns) given each of ``LEVELS_DB`` (rows), spread by so much up and down."""

    def bell(below: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.exp(-0.5 * (below / np.where(below > 0.0, down_db, up_db)) ** 2))

    kernel = bell(LEVELS_DB[:, None] - LEVELS_DB)
    # The sum on a grid without ends: what a row lacks of it fell off one.
    full = bell(np.linspace(-300.0, 300.0, 601) * STEP_DB).sum()
    # Levels below the grid are as good as its lowest one.
    kernel[:, 0] += np.maximum(0.0, full - kernel.sum(axis=1)) * (LEVELS_DB < 20.0)
    return np.asarray(kernel / kernel.sum(axis=1, keepdims=True))


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """Log likelihood by spread, level and state of the shared drift, spread and level in one [shape=(W * N, X)]."""

    table: NDArray[np.float64]

    def __call__(self, level_db: NDArray[np.float64], spread_db: NDArray[np.float64]) -> NDArray[np.float64]:
        """Log likelihood [shape=(n, X)] of air at ``level_db`` known to ``spread_db``, both [shape=(n,)]."""
        n = len(LEVELS_DB)
        # Just short of the last level: every draw has a neighbour above it to go between.
        x = np.clip((level_db - LEVELS_DB[0]) / STEP_DB, 0.0, n - 1.001)
        y = np.interp(spread_db, SPREADS_DB, np.arange(len(SPREADS_DB), dtype=np.float64))
        i, j = x.astype(int), np.minimum(y.astype(int), len(SPREADS_DB) - 2)
        fx, fy = (x - i)[:, None], (y - j)[:, None]
        at = j * n + i
        # In place, and by take: a third of the time of indexing, and this is looked up for every draw at every point.
        low, right, high, far = (self.table.take(at + step, axis=0) for step in (0, 1, n, n + 1))
        for share, to, start in ((fx, right, low), (fx, far, high), (fy, high, low)):
            to -= start
            to *= share
            start += to
        return np.asarray(low)

    def sharp(self, states: NDArray[np.float64]) -> NDArray[np.float64]:
        """Likelihood (not log) at the least spread, drift summed over, scaled to a maximum of 1 [shape=(N,)]."""
        # The least spread stands first.
        row = self.table[: len(LEVELS_DB)] + states
        out = np.exp(row - row.max()).sum(axis=1)
        return np.asarray(out / out.max())


@cache
def stray_levels() -> NDArray[np.float64]:
    """Prior over levels of what is no air at all [shape=(N,)], sum 1."""
    above = LEVELS_DB - STRAY_FROM_DB
    w = np.where(above >= 0.0, np.exp(-above / STRAY_FALLS_DB), 0.0)
    return np.asarray(w / w.sum())


@cache
def _kernels() -> NDArray[np.float64]:
    tails = [(TAIL_SHARE if spread >= TAIL_FROM_DB else 0.0, spread) for spread in SPREADS_DB]
    return np.concatenate([(1.0 - t) * _kernel(s, s) + t * _kernel(s, TAIL_FACTOR * s) for t, s in tails])


@dataclass(frozen=True, slots=True, eq=False)
class Smoothable:
    """A point's likelihood spread out, before what is no air at all is mixed in; all sets of assumptions share it."""

    spread: NDArray[np.float64]
    """Likelihood [shape=(W * N, X)]."""
    stray: NDArray[np.float64]
    """The same with something else sounding besides [shape=(W * N, X)]."""
    in_events: bool

    @classmethod
    def of(cls, log_likelihood: NDArray[np.float64], in_events: bool) -> Smoothable:
        """Spread a log likelihood [shape=(X, N)] out over each of ``SPREADS_DB``."""
        likelihood = np.exp(log_likelihood - log_likelihood.max()).T
        spread = _kernels() @ likelihood
        # What sounds besides only adds: the louder of the two is heard.
        levels = stray_levels()
        weighed = levels[:, None] * likelihood
        louder = weighed.sum(axis=0) - np.cumsum(weighed, axis=0)
        times = len(SPREADS_DB)
        stray = np.tile(louder, (times, 1)) + np.tile(np.cumsum(levels), times)[:, None] * spread
        return cls(spread, stray, in_events)

    def with_stray(self, chance: float) -> Smoothed:
        """The table to look levels up in."""
        share = min(chance * (EVENTS_FACTOR if self.in_events else 1.0), MOST_STRAY)
        # Finite even where the exponential came to nothing.
        return Smoothed(np.log(np.maximum((1.0 - share) * self.spread + share * self.stray, 1e-300)))
