"""The sets of causes weighed: sound, each single path, pairs, a fitting, a set-up fault; noise from outside."""

from dataclasses import dataclass
from itertools import combinations

from listen.judge.assumptions import Assumptions
from listen.judge.result import ShopSeen
from listen.judge.shop import shop_rates
from listen.trade.points import PathId, path_table

LEAKS = (
    PathId.INTAKE_VALVE,
    PathId.EXHAUST_VALVE,
    PathId.RINGS,
    PathId.COOLANT_PASSAGE,
    PathId.NEXT_CYLINDER,
)
"""Escape paths of a cylinder that can be at work together."""
ONE_SIDE = 0.06
"""To each set-up with both valves open so many with the intake valve alone, and as many with the exhaust valve: the
crank was pushed on until one opened. Judgement, with 160 rounds of a fifth stranger in sight: 6 of his 9 wrong names
were such, 94 to 100 % sure of a valve; log loss there 1.147, with it 1.027, of the fourth's 1.707 and 1.658, of the
worlds, where both always stand open, .574 and .594. Twice as many gave 1.008, 1.647 and .605."""
UNHEARD_SHARE = 0.1
"""Prior of a path at whose own point nothing was recorded, about its usual one: suspicion chooses the walk.
Judgement."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One set of causes."""

    paths: tuple[PathId, ...]
    """``(none,)``, one path, or two."""
    outside: bool = False
    """Something in the shop sounded besides, alike at all points, while the air was on."""
    side: PathId | None = None
    """Of a piston off top dead centre: the one valve that stands open, None for both."""


def hypotheses(heard: frozenset[PathId]) -> tuple[Hypothesis, ...]:
    """All sets, given the paths whose own point was recorded."""
    single = [Hypothesis((row.path,)) for row in path_table().cause]
    # A pair of which one mouth was not recorded could never be refuted.
    pairs = [Hypothesis(pair) for pair in combinations(LEAKS, 2) if heard.issuperset(pair)]
    outside = [Hypothesis(h.paths, True) for h in single if h.paths[0] in (PathId.NONE, *LEAKS)]
    sides = [Hypothesis((PathId.SET_UP,), side=valve) for valve in (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE)]
    return (*single, *pairs, *outside, *sides)


def priors(
    sets: tuple[Hypothesis, ...], heard: frozenset[PathId], assumed: Assumptions, shop: ShopSeen | None = None
) -> list[float]:
    """Prior probability of each set; they sum to 1."""
    table = path_table()
    rates = {row.path: row.prior for row in table.cause}
    if shop is not None:
        # Teardowns answer only how leaks share out among themselves: the other causes keep the table's rates.
        rates |= shop_rates({p: rates[p] for p in LEAKS}, shop)
    chance = {p: rate * (1.0 if p in heard or p not in LEAKS else UNHEARD_SHARE) for p, rate in rates.items()}
    chance[PathId.NONE] *= assumed.sound_odds
    by_paths = {
        h.paths: chance[h.paths[0]] * (table.pair_factor * chance[h.paths[1]] if len(h.paths) > 1 else 1.0)
        for h in sets
    }
    # Paths that stand there twice, with a sound from outside and without: the two share one prior.
    both = {h.paths for h in sets if h.outside}

    def share(h: Hypothesis) -> float:
        if h.side:
            return ONE_SIDE
        return assumed.outside if h.outside else 1.0 - assumed.outside if h.paths in both else 1.0

    weights = [by_paths[h.paths] * share(h) for h in sets]
    return [w / sum(weights) for w in weights]


def leak_shares(shop: ShopSeen) -> tuple[tuple[PathId, float, float], ...]:
    """Every leak with its share among leaks by the table, and with the shop's teardowns."""
    rates = {row.path: row.prior for row in path_table().cause if row.path in LEAKS}
    after, total = shop_rates(rates, shop), sum(rates.values())
    return tuple((p, rate / total, after[p] / total) for p, rate in rates.items())
