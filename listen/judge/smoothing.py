"""A point's likelihood over levels, smoothed by how uncertainly the air gets there: a table to look levels up in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.loudness import LEVELS_DB

SPREADS_DB: NDArray[np.float64] = np.array([0.8, 1.5, 2.5, 4.0, 5.5, 7.5])
"""Spreads for which the table holds a row."""
STRAY = 0.0005
"""Share of points where something else than air changed between the clips and looks like it. Bounds false calls."""
STRAY_IN_EVENTS = 0.1
"""The same where the increase came in events and not as a steady hiss."""
STEP_DB = float(LEVELS_DB[1] - LEVELS_DB[0])


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """Log likelihood by spread and level [shape=(W, N)]."""

    table: NDArray[np.float64]

    def __call__(self, level_db: NDArray[np.float64], spread_db: NDArray[np.float64]) -> NDArray[np.float64]:
        """Log likelihood of air at ``level_db`` known to ``spread_db``, both [shape=(n,)]."""
        x = np.clip((level_db - LEVELS_DB[0]) / STEP_DB, 0.0, len(LEVELS_DB) - 1.001)
        y = np.interp(spread_db, SPREADS_DB, np.arange(len(SPREADS_DB), dtype=np.float64))
        i, j = x.astype(int), np.minimum(y.astype(int), len(SPREADS_DB) - 2)
        fx, fy = x - i, y - j
        t = self.table
        low = (1.0 - fx) * t[j, i] + fx * t[j, i + 1]
        high = (1.0 - fx) * t[j + 1, i] + fx * t[j + 1, i + 1]
        return np.asarray((1.0 - fy) * low + fy * high)

    @property
    def sharp(self) -> NDArray[np.float64]:
        """Likelihood (not log) at the least spread, scaled to a maximum of 1 [shape=(N,)]."""
        row = self.table[0]
        return np.asarray(np.exp(row - row.max()))


def smooth(log_likelihood: NDArray[np.float64], stray: float = STRAY) -> Smoothed:
    """Smooth a log likelihood [shape=(N,)] over each of ``SPREADS_DB``, and mix in what is no air at all."""
    top = float(log_likelihood.max())
    likelihood = np.exp(log_likelihood - top)
    apart = LEVELS_DB[:, None] - LEVELS_DB
    rows = []
    for spread in SPREADS_DB:
        kernel = np.exp(-0.5 * (apart / spread) ** 2)
        # Levels below the grid are as good as its lowest one.
        kernel[:, 0] += np.maximum(0.0, 2.5066 * spread / STEP_DB - kernel.sum(axis=1)) * (LEVELS_DB < 0)
        rows.append(kernel @ likelihood / kernel.sum(axis=1))
    table = (1.0 - stray) * np.array(rows) + stray * likelihood.mean()
    return Smoothed(np.log(np.maximum(table, 1e-300)) + top)
