"""World: a worn fleet. Blow-by is loud on every cylinder, rings fail most, two faults are common."""

import numpy as np

from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import plain
from listen.lab.simulator.worlds.readings import Notes
from listen.lab.simulator.worlds.world import HOLES_MM, Strength, World

WAYS = Ways(casting=(-15, 5), breather=(-6, 4), valve=(-7, 3), far=(-24, 6), engine_db=3.0)


def strength(rng: np.random.Generator) -> Strength:
    """Blow-by from 15 dB under the shop to 15 dB over it; a fault of the rings adds to it what its hole adds."""
    one_mm_db = rng.uniform(-4, 26)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        if source in ("blow-by", "rings"):
            return float(one_mm_db + 20 * np.log10(hole_mm) + rng.normal(0, 1.5))
        return float(rng.uniform(-6, 22))

    return level


WORLD = World(
    name="worn",
    differs="Normal blow-by spans 30 dB and fails by degrees; base rates of worn engines; breathers carry over.",
    about="background",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=plain,
    rates={
        "none": 0.2,
        "rings": 0.3,
        "exhaust-valve": 0.12,
        "intake-valve": 0.08,
        "next-cylinder": 0.05,
        "coolant-passage": 0.05,
        "pair": 0.14,
        "fitting": 0.03,
        "set-up": 0.03,
    },
    holes_mm={**HOLES_MM, "blow-by": (0.55, 1.0), "rings": (1.0, 2.2)},
    sound_clips=0.6,
    notes=Notes(restrictor=0.3),
)
