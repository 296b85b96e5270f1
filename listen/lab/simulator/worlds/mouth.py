"""World: absolute power at the mouth. A leak is as loud as it is, whatever the shop and the gauge say."""

import numpy as np

from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import hot, plain
from listen.lab.simulator.worlds.world import Strength, World

WAYS = Ways(casting=(-18, 6), breather=(-12, 6), valve=(-11, 5), far=(-28, 7), engine_db=4.0)


def strength(rng: np.random.Generator) -> Strength:
    """Power at the mouth over more than three orders of magnitude; blow-by over two, about the engine's own."""
    blow_by_dbfs = rng.normal(-76, 7)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        return float(blow_by_dbfs + rng.normal(0, 2) if source == "blow-by" else rng.uniform(-74, -40))

    return level


WORLD = World(
    name="mouth",
    differs="Levels are absolute powers at the mouth that follow neither the shop nor the loss; wide transfer.",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=lambda rng: hot(rng) if rng.random() < 0.3 else plain(rng),
    shop_dbfs=(-64.0, -36.0),
)
