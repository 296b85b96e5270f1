"""Every world taken both ways: by walks, and with the air switched at each point by a hand that is late and uneven."""

from pathlib import Path

import msgspec
import numpy as np

from listen.bench.accuracy.measured import judge_world
from listen.bench.accuracy.scores import Scores, score
from listen.lab.simulator.scene import RoundSpec, Switched
from listen.lab.simulator.switching_hand import Hand, as_switched
from listen.signal.switching import commanded_times
from listen.trade.points import Kind

TOLD = commanded_times(4, 5.0)
"""As the Round screen leads them."""
WANDER_S = 60.0
LEAST_WANDER_DB = 0.1
DECAY_S = (0.15, 1.0)
MISSES, FORGETS = 0.1, 0.02
"""Share of takes with a cycle missed, and of rounds in which nobody turns the valve."""


class BothWays(msgspec.Struct, frozen=True, kw_only=True):
    """One world, scored twice over the same engines and shops."""

    world: str
    walks: Scores
    switched: Scores


def switched(spec: RoundSpec, rng: np.random.Generator) -> RoundSpec:
    """A drawn round as it is when the air is switched: the shop's level wanders within a take by as much as it did
    from clip to clip of the walks. Its colour and single bands, which moved between clips, stand still."""
    drift = [t.drift_db for p in spec.points for t in p.takes if t.kind in (Kind.QUIET, Kind.AIR)]
    forgets = bool(rng.random() < FORGETS)
    reaction_s = float(rng.uniform(0.1, 0.5))
    decay_s = float(np.exp(rng.uniform(*np.log(DECAY_S))))
    how = {}
    for p in spec.points:
        hand = Hand((reaction_s, reaction_s + 0.1), misses=int(rng.random() < MISSES), forgets=forgets)
        how[p.point] = Switched(
            on_s=hand.turns(rng, TOLD),
            decay_s=decay_s,
            wander_db=max(float(np.std(drift)), LEAST_WANDER_DB),
            wander_s=WANDER_S,
        )
    found = as_switched(spec, TOLD, how)
    facts = msgspec.structs.replace(found.facts, air_followed=not forgets)  # the screen asks, whoever looks can tell
    return msgspec.structs.replace(found, facts=facts)


def both_ways(rounds: int, seed: int, workers: int, kept_in: Path | None) -> tuple[BothWays, ...]:
    """Score rounds of every world, walked and switched."""
    from listen.lab.simulator.worlds import WORLDS

    return tuple(
        BothWays(
            world=name,
            walks=score(judge_world(name, rounds, seed, workers, kept_in)),
            switched=score(judge_world(name, rounds, seed, workers, kept_in, switched=True)),
        )
        for name in WORLDS
    )
