"""What was learnt beyond the round itself, said beside the verdict: from which cylinders, from how many teardowns."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from listen.judge.assumptions import BASE
from listen.judge.evidence import RoundEvidence
from listen.judge.loudness import LEVELS_DB
from listen.judge.posterior import Posterior, posterior
from listen.judge.result import EngineSay, ShopSeen
from listen.judge.sources import AirSource, prior_over_levels
from listen.trade.points import PathId
from listen.voice import names
from listen.voice.figures import decibels, number, sure

ENGINE, SHOP = "engine", "shop"
"""Names of what was learnt, among what odds may be told without."""


def with_learnt(evidence: RoundEvidence, odds: Posterior, alone: Posterior) -> Posterior:
    """The odds, able to tell what they would be without the other cylinders and without the shop's teardowns."""
    # The same object where nothing was learnt from other cylinders: nothing then to be told without.
    without = {ENGINE: alone.probability} if alone is not odds else {}
    if evidence.shop is not None:
        # Under the usual assumptions only: it is said beside the verdict, which has its range already.
        without[SHOP] = posterior(replace(evidence, shop=None), (BASE,), odds.moved).probability
    return replace(odds, without={**odds.without, **without})


def learnt(evidence: RoundEvidence, odds: Posterior, others: Sequence[EngineSay]) -> tuple[str, ...]:
    """A sentence for the engine's other cylinders and one for the shop's teardowns, where they were let in.

    Each ends with the odds that the leading path would have without.
    """
    leads = max(odds.paths, key=odds.involved)
    told = ((ENGINE, _of_engine(evidence, others)), (SHOP, _of_shop(evidence.shop)))
    without = {name: sure(odds.involved_without(name, leads)) for name, _ in told if name in odds.without}
    return tuple(f"{words}; without that {names.path(leads)} {without[name]}." for name, words in told if words)


def _of_engine(evidence: RoundEvidence, others: Sequence[EngineSay]) -> str:
    """Where blow-by is expected at the crankcase's own mouth; empty where nobody spoke of it."""
    own = next((p for p in evidence.points if p.learnt is not None and PathId.RINGS in p.point.row.own), None)
    if own is None or own.learnt is None:
        return ""
    told = sorted({one.cylinder for one in others if any(p.point == own.point.id for p in one.points)})
    which = f"cylinder {told[0]}" if len(told) == 1 else f"cylinders {', '.join(map(str, told[:-1]))} and {told[-1]}"
    density = prior_over_levels(AirSource(PathId.NONE), BASE) * own.learnt
    # Nine tenths of it lie between these.
    low, high = np.interp((0.05, 0.95), np.cumsum(density) / density.sum(), LEVELS_DB)
    where = f"between {decibels(float(low), 0)} and {decibels(float(high), 0)} about the shop's sound"
    return f"Learnt from {which}: normal blow-by at the {own.point.words} lies {where}"


def _of_shop(shop: ShopSeen | None) -> str:
    if shop is None:
        return ""
    counts = ", ".join(f"{names.path(c.path)} {number(c.times, 0 if c.times % 1 == 0 else 1)}" for c in shop.causes)
    return f"Learnt from the shop's own {shop.findings} teardowns: {counts}"
