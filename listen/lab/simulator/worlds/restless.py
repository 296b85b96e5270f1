"""World: a shop that never stands still. Level and colour wander at all points alike; mishaps are common."""

import numpy as np

from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import plain
from listen.lab.simulator.worlds.walking import Restless
from listen.lab.simulator.worlds.world import Strength, World

WAYS = Ways(casting=(-17, 5), breather=(-10, 5), valve=(-8, 4), far=(-24, 6))


def strength(rng: np.random.Generator) -> Strength:
    """About the shop's own sound: what is loud enough to be heard in it at all."""
    blow_by_db = rng.normal(-9, 6)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        return float(blow_by_db + rng.normal(0, 2) if source == "blow-by" else rng.uniform(-8, 20))

    return level


def restless(rng: np.random.Generator) -> Restless:
    """From a busy morning to a night; one drift for the whole walk, but for a fifth of its variance or less."""
    return Restless(
        level_db=float(np.exp(rng.uniform(np.log(0.3), np.log(2.5)))),
        level_s=float(np.exp(rng.uniform(np.log(3), np.log(400)))),
        colour_db=float(rng.uniform(0.1, 1.5)),
        colour_s=float(np.exp(rng.uniform(np.log(10), np.log(300)))),
        own_share=float(rng.uniform(0.0, 0.2)),
        bump_rate=0.06,
        bump_db=2.5,
    )


WORLD = World(
    name="restless",
    differs="Drift of level and colour is large, shared by all points, fast or slow; six rounds in ten meet a mishap.",
    about="background",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=plain,
    restless=restless,
    mishaps=0.6,
)
