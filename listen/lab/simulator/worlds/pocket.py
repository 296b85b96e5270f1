"""World: whatever microphone is in the pocket. Automatic gain, own hiss, roll-off and clipping; the shop may be quieter
than the capsule."""

import numpy as np

from listen.lab.simulator.scene import Microphone
from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import following, hot, plain, rolled_off
from listen.lab.simulator.worlds.world import Strength, World

WAYS = Ways(casting=(-21, 4), breather=(-11, 4), valve=(-10, 4), far=(-32, 5))


def strength(rng: np.random.Generator) -> Strength:
    """Absolute, and known to follow the flow only loosely."""
    usual_dbfs = rng.uniform(-66, -44)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        quieter = 12.0 if source == "blow-by" else 0.0
        return float(usual_dbfs + 5 * np.log10(flow_l_s / 0.2) - quieter + rng.normal(0, 6))

    return level


def microphone(rng: np.random.Generator) -> Microphone:
    """One of four kinds."""
    kind = rng.choice(["following", "hot", "rolled off", "hissing"], p=[0.25, 0.25, 0.25, 0.25])
    if kind == "hissing":
        return plain(rng, (-78.0, -58.0))
    return {"following": following, "hot": hot, "rolled off": rolled_off}[str(kind)](rng)


WORLD = World(
    name="pocket",
    differs="The microphone limits: automatic gain, self-noise near the shop's, roll-off, clipping at a gain set once.",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=microphone,
    shop_dbfs=(-66.0, -40.0),
    mishaps=0.15,
)
