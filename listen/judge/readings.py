"""What the readings say of each set of causes: log likelihoods, broad because testers and engines differ."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from listen.judge.evidence import Bubbles, Readings
from listen.trade.paths import path_table
from listen.trade.points import PathId

Paths = tuple[PathId, ...]

FREAK = 0.02
"""Share of readings that say nothing: misread, mistyped, another tester. Bounds what one reading can do."""
SOUND_LOSS_ODDS_RANGE = (1.0, 100.0)

WET_RISE: dict[bool, tuple[float, float]] = {True: (0.22, 0.13), False: (0.05, 0.07)}
"""Relative wet rise with and without ring trouble, mean and spread. Oil volume alone raises the reading by 9-20 % of
itself at a proper dose; a rise of 70 kPa or more beyond that points to rings (TM 10-3930-647-14&P)."""

SEEN: dict[bool, float] = {True: 0.85, False: 0.04}
"""Probability that bubbles are seen with and without a path into the coolant (trapped air, splash)."""
BASE_RATES_HZ = np.geomspace(0.005, 4.0, 24)
"""Rates of false bubble events from the shop itself."""
BUBBLE_RATES_HZ = np.geomspace(0.3, 12.0, 20)
"""Rates of bubbles where air enters the coolant."""
COUNT_SPREAD = 0.35
"""Relative spread of the shop's own event rate from clip to clip (drips and taps come in spells)."""
DETECTED_SHARE = 0.6
"""Share of bubbles that stand out enough to be counted."""


def _log_normal(x: float, median: float, spread: float) -> float:
    z = (math.log(x) - math.log(median)) / spread
    return math.exp(-0.5 * z * z) / (x * spread * math.sqrt(2.0 * math.pi))


def loss(paths: Paths, percent: float) -> float:
    """Log likelihood of the loss read."""
    table = path_table()
    row = {r.path: r for r in table.cause}[paths[0]]
    median, spread = (
        (table.pair_loss_median, table.pair_loss_spread) if len(paths) > 1 else (row.loss_median, row.loss_spread)
    )
    density = _log_normal(max(percent, 0.5), median, spread)
    low, high = SOUND_LOSS_ODDS_RANGE
    freak = 1.0 / (max(percent, low) * math.log(high / low)) if percent <= high else 0.0
    return math.log((1.0 - FREAK) * density + FREAK * freak)


def compression(paths: Paths, dry_kpa: float, wet_kpa: float) -> float:
    """Log likelihood of the wet rise."""
    mean, spread = WET_RISE[PathId.RINGS in paths]
    z = (wet_kpa / dry_kpa - 1.0 - mean) / spread
    density = math.exp(-0.5 * z * z) / (spread * math.sqrt(2.0 * math.pi))
    return math.log((1.0 - FREAK) * density + FREAK)


def bubbles_seen(paths: Paths, seen: bool) -> float:
    """Log likelihood of the answer to "bubbles seen?"."""
    p = SEEN[PathId.COOLANT_PASSAGE in paths]
    return math.log(p if seen else 1.0 - p)


def bubbles_heard(paths: Paths, counts: Bubbles) -> float:
    """Log likelihood of the two bubble counts, up to a constant that is the same for all sets.

    Both counts are Poisson with an unknown common rate, the one with air on with bubbles on top where a path leads
    into the coolant; rates are summed over, and wander by ``COUNT_SPREAD`` between clips (negative binomial).
    """
    extra = BUBBLE_RATES_HZ * DETECTED_SHARE if PathId.COOLANT_PASSAGE in paths else np.zeros(1)
    quiet = _log_count(counts.quiet, BASE_RATES_HZ * counts.quiet_s)
    air = _log_count(counts.air, (BASE_RATES_HZ[:, None] + extra) * counts.air_s)
    total = quiet[:, None] + air
    return float(np.logaddexp.reduce(total.ravel()) - math.log(total.size))


def _log_count(n: int, mean: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log negative binomial of ``n`` with the given mean and relative spread ``COUNT_SPREAD``, without its n!."""
    k = 1.0 / COUNT_SPREAD**2
    rising = math.lgamma(n + k) - math.lgamma(k)
    return np.asarray(rising + k * np.log(k / (k + mean)) + n * np.log(mean / (k + mean)))


def terms(readings: Readings, counts: Bubbles | None) -> list[tuple[str, Callable[[Paths], float]]]:
    """Named functions of a set of causes, one a reading that was given."""
    out: list[tuple[str, Callable[[Paths], float]]] = []
    if counts is not None and counts.air_s and counts.quiet_s:
        out.append(("bubbles-heard", lambda paths: bubbles_heard(paths, counts)))
    if readings.bubbles_seen is not None:
        seen = readings.bubbles_seen
        out.append(("bubbles-seen", lambda paths: bubbles_seen(paths, seen)))
    if readings.loss_percent is not None:
        percent = readings.loss_percent
        out.append(("loss", lambda paths: loss(paths, percent)))
    dry, wet = readings.compression_dry_kpa, readings.compression_wet_kpa
    if dry is not None and wet is not None:
        out.append(("compression", lambda paths: compression(paths, dry, wet)))
    return out
