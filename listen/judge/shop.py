"""Base rates and spreads with the shop's own teardowns in them: the tables move slowly, by stated prior weights.

Only what a teardown can answer moves: how the leaks share out among themselves, and what loss each shows. What is
opened was thought to leak, so that sound cylinders, fittings and set-ups keep the table's share of all rounds.
"""

import math
from collections.abc import Mapping

from listen.judge.result import ShopSeen
from listen.trade.points import PathId

RATES_WEIGH = 60.0
"""Findings that the table's base rates are worth (Dirichlet): after 30 of its own a shop's count for one third.
Judgement: at 30 findings a share of one fifth is known to a third of itself only (binomial)."""
LOSSES_WEIGH = 20.0
"""Losses that the table's median and spread of a path are worth (normal-inverse-gamma). Judgement."""


def shop_rates(leaks: Mapping[PathId, float], seen: ShopSeen) -> dict[PathId, float]:
    """Prior chance of each leak moved towards what teardowns showed; their sum is kept."""
    found = {c.path: c.times for c in seen.causes}
    total, counted = sum(leaks.values()), sum(found.get(p, 0.0) for p in leaks)
    return {
        p: total * (RATES_WEIGH * rate / total + found.get(p, 0.0)) / (RATES_WEIGH + counted)
        for p, rate in leaks.items()
    }


def shop_hole(path: PathId, usual: tuple[float, float], seen: ShopSeen | None) -> tuple[float, float]:
    """Mean and spread of the natural log of the effective hole of one path alone."""
    cause = next((c for c in seen.causes if c.path == path), None) if seen is not None else None
    if cause is None or not cause.losses:
        return usual
    n, (mean, spread) = cause.losses, usual
    after = (LOSSES_WEIGH * mean + n * cause.mean_log_mm) / (LOSSES_WEIGH + n)
    # A shop far from the table widens the spread too: then the two together are known less well.
    apart = LOSSES_WEIGH * n / (LOSSES_WEIGH + n) * (cause.mean_log_mm - mean) ** 2
    return after, math.sqrt((LOSSES_WEIGH * spread**2 + cause.squares + apart) / (LOSSES_WEIGH + n))
