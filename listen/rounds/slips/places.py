"""Under which point's label a clip belongs: the room's sound low down is the place's, and escaping air only adds to it.

Symbols: n clips of one walk and their n places, B place bands; d level of a clip about that of a place, dB. Each band
of a clip that belongs there is as its place but for drift (heavy tails, one level shift for the whole clip), or lifted
by air. What argues against a label are bands with less than the place has: nothing takes sound away.
"""

import numpy as np
from numpy.typing import NDArray

LEAST_SPREAD_DB = 0.5
"""Standard deviation of a place band between clips of one place, beside what the round's own repeats show."""
USUAL_SPREAD_DB = 0.7
"""What repeats show where a round has none: bench of the worlds."""
SHIFT_DB = 1.0
"""Level of one clip about its walk's: drift of a shop is 0.1-1 dB (METHOD section 2), more where repeats show it; with
heavy tails, since wind and traffic come and go between two clips."""
SHIFTS_DB = np.arange(-10.0, 10.01, 0.5)
LIFTED, LIFT_DB = 0.5, 6.0
"""Share of place bands that air lifts, and the mean of how much (exponential): ring packs reach down there."""
BANDS_AS_ONE = 0.5
"""Neighbouring place bands move together: nine count as four or five."""


def best_exchange(
    clips_db: NDArray[np.float64],
    places_db: NDArray[np.float64],
    repeats: int,
    spread_db: float,
    level_db: float,
    *,
    air: bool,
) -> tuple[list[int], float]:
    """Which clips fit other places best, and how much better: evidence in decibans; positive where any are moved.

    Parameters
    ----------
    clips_db, places_db
        Place bands of the clips, and those of the places they are labelled with [shape=(n, B)].
    repeats
        Clips behind each place.
    spread_db
        How much clips of one place differ in this round, band by band.
    level_db
        And how much in level.
    air
        Whether air may have lifted them.
    """
    from scipy.optimize import linear_sum_assignment  # only for a round as a whole

    d = clips_db[:, None] - places_db[None]
    # The walk's own shift: where air may lift bands, those it lifts least tell it.
    own = np.quantile(np.diagonal(d).T, 0.3 if air else 0.5, axis=1)
    spread = np.hypot(LEAST_SPREAD_DB, spread_db) * np.sqrt(1.0 + 1.0 / repeats)
    fits = _fits(d - np.median(own), float(spread), float(np.hypot(SHIFT_DB, level_db)), air)
    rows, columns = linear_sum_assignment(-fits)
    moved = [int(i) for i, j in zip(rows, columns, strict=True) if i != j]
    gain = float(sum(fits[i, columns[i]] - fits[i, i] for i in moved))
    return moved, float(10.0 / np.log(10.0)) * gain


def _fits(d: NDArray[np.float64], spread: float, shift_db: float, air: bool) -> NDArray[np.float64]:
    """Log likelihood of each clip at each place, its level shift summed over [shape=(n, n)]."""
    from scipy.special import logsumexp, ndtr

    x = d[..., None, :] - SHIFTS_DB[:, None]
    density = 0.375 * (1.0 + 0.25 * (x / spread) ** 2) ** -2.5 / spread  # Student's t, 4 degrees of freedom
    if air:
        lifted = np.exp(-np.maximum(x, 0.0) / LIFT_DB) / LIFT_DB * ndtr(x / spread)
        density = (1.0 - LIFTED) * density + LIFTED * lifted
    likely = -2.5 * np.log1p(0.25 * (SHIFTS_DB / shift_db) ** 2)
    by_shift = BANDS_AS_ONE * np.log(density).sum(axis=-1) + likely
    return np.asarray(logsumexp(by_shift, axis=-1))
