"""How loud a source of sound is at a distance: direct sound by 1/r2, and reverberation (Sabine's absorption)."""

from collections.abc import Mapping

import numpy as np

HELD_M = (0.04, 0.12)
"""The microphone's distance from a mouth."""
FROM_PLUG_M: Mapping[str, tuple[float, float]] = {
    "intake": (0.25, 0.7),
    "oil-filler": (0.15, 0.5),
    "breather": (0.2, 0.7),
    "plug-hole": (0.08, 0.25),
    "radiator": (0.4, 1.0),
    "tailpipe": (2.4, 4.5),
}
"""Distance of the points from the plug under test, where adapter, hose and tester's fittings are."""
ABSORPTION_M2 = (15.0, 250.0)
"""A tiled bay with its door shut; a wide hall with the doors open."""


def distance_m(rng: np.random.Generator, at: str) -> float:
    """Of a point from the plug."""
    low, high = next(v for k, v in FROM_PLUG_M.items() if at.startswith(k))
    return float(rng.uniform(low, high))


def heard_db(distance_m: float, absorption_m2: float) -> float:
    """Level at a distance about the source's power, dB re 1/m2: direct and reverberant energy together."""
    return float(10 * np.log10(1 / (4 * np.pi * distance_m**2) + 4 / absorption_m2))
