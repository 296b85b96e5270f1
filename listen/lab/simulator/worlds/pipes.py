"""World: ducts that ring and slits that whistle. Spectra are combs, humps and tones; cheap microphones hear them."""

import numpy as np

from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.microphones import plain, rolled_off
from listen.lab.simulator.worlds.sounds import SOUND_M_S, Sound, slit, usual
from listen.lab.simulator.worlds.walking import Restless
from listen.lab.simulator.worlds.world import Strength, World

WAYS = Ways(casting=(-19, 5), breather=(-10, 5), valve=(-9, 4), far=(-27, 6), in_the_open=False)
LENGTH_M = {"intake": (0.2, 0.9), "tailpipe": (1.5, 4.0), "oil-filler": (0.05, 0.3), "plug-hole": (0.05, 0.12)}
"""Pipes whose modes lie c / 2L apart."""


def strength(rng: np.random.Generator) -> Strength:
    """About the shop's own sound, as a listener would put it."""
    blow_by_db = rng.normal(-8, 6)

    def level(source: str, hole_mm: float, flow_l_s: float) -> float:
        return float(blow_by_db + rng.normal(0, 2) if source == "blow-by" else rng.uniform(-10, 20))

    return level


def sound(rng: np.random.Generator, source: str, hole_mm: float) -> Sound:
    """Half of the leaks are slits or edges."""
    return slit(rng) if source != "blow-by" and rng.random() < 0.5 else usual(rng, source, hole_mm)


def comb(rng: np.random.Generator, at: str) -> tuple[float, float]:
    """Modes of the pipe behind a mouth."""
    low, high = next((v for k, v in LENGTH_M.items() if at.startswith(k)), (0.1, 0.5))
    return SOUND_M_S / (2 * float(rng.uniform(low, high))), float(rng.uniform(4, 24))


def restless(rng: np.random.Generator) -> Restless:
    """Fans and tones come and go by themselves; the level stays."""
    return Restless(
        level_db=0.2, level_s=60.0, bump_rate=0.25, bump_db=float(rng.uniform(0.5, 4.0)), bumps_everywhere=False
    )


WORLD = World(
    name="pipes",
    differs="Half of the leaks whistle or are humps, ducts are combs, single bands drift alone, capsules roll off.",
    about="background",
    strength=strength,
    carry=lambda rng, layout: WAYS.of(rng, layout),
    microphone=lambda rng: rolled_off(rng) if rng.random() < 0.5 else plain(rng),
    sound=sound,
    comb=comb,
    restless=restless,
)
