"""World: everything follows from holes. Loss, flow and loudness come from one bore behind the tester's restrictor."""

import numpy as np

from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import plain
from listen.lab.simulator.worlds.readings import Notes
from listen.lab.simulator.worlds.world import Strength, World

WAYS = Ways(casting=(-20, 5), breather=(-9, 4), valve=(-8, 4), far=(-30, 6))
MUFFLED_DB = {"rings": -5.0, "blow-by": -5.0, "exhaust-valve": -7.0, "coolant-passage": -9.0}
"""What crankcase, silencer and water take."""


def strength(rng: np.random.Generator) -> Strength:
    """A choked jet's sound is a share of its power, which follows the flow; one engine has one share."""
    one_litre_dbfs = rng.uniform(-58, -40)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        return float(one_litre_dbfs + 10 * np.log10(flow_l_s) + MUFFLED_DB.get(source, 0.0) + rng.normal(0, 3))

    return level


WORLD = World(
    name="flow",
    differs="Level and loss follow from one bore behind a restrictor; normal blow-by is a smaller hole.",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=plain,
    notes=Notes(loss=0.95, supply=0.95, restrictor=0.9),
)
