"""World: an open bay. Sound gets about through the air, by 1/r2 down to the reverberant field; fittings leak often."""

import numpy as np

from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import plain
from listen.lab.simulator.worlds.world import RATES, Strength, World

WAYS = Ways(casting=(-34, 5), breather=(-16, 6), valve=(-14, 5), far=(-40, 6))
"""Ducts carry little; what crosses goes through the bay."""
HELD_SD_DB = 4.0
"""The microphone is held by hand, at another distance from each mouth: 4 and 12 cm differ by 10 dB."""


def strength(rng: np.random.Generator) -> Strength:
    """Power at the mouth; a fitting's as heard 15 cm away."""
    usual_dbfs = rng.uniform(-62, -48)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        quieter = {"blow-by": 14.0, "coolant-passage": 6.0, "fitting": 3.0}.get(source, 0.0)
        return float(usual_dbfs + 20 * np.log10(hole_mm / 0.8) - quieter + rng.normal(0, HELD_SD_DB))

    return level


WORLD = World(
    name="bay",
    differs="Geometry decides: mouths near the plug hear a fitting 8-15 dB louder than a tailpipe metres away.",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=plain,
    rates={**RATES, "fitting": 0.2, "none": 0.22, "pair": 0.05},
    shut_clips=0.3,
    place_db=(3.0, 5.0),
)
