"""Short tones that lead a person through a walk without looking at the screen."""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from listen.errors import AudioError
from listen.signal.clip import Clip

RATE_HZ = 48_000
NOTE_S = 0.12
"""Long enough to have a pitch, short enough not to be waited for."""
GAP_S = 0.04
EDGE_S = 0.01
"""Raised-cosine edges, so that a tone does not click."""
LEVEL = 0.2
"""Peak, -14 dBFS: heard over a shop, no shock in headphones."""

NOTES_HZ: dict[str, tuple[float, ...]] = {
    "ready": (880.0,),
    "kept": (660.0, 990.0),
    "again": (440.0, 330.0, 330.0),
    "done": (660.0, 880.0, 1320.0),
    "open": (880.0,),
    "shut": (440.0,),
}
"""Told apart by number and direction, not by pitch alone: one; two rising; three falling; three rising. In a switched
take one high tone opens the valve and one low tone shuts it: an octave, below the hiss bands, and over before a hand
moves."""


@cache
def cue(name: str) -> Clip:
    """The tones called ``ready``, ``kept``, ``again`` or ``done``. Raises AudioError: no such cue."""
    if name not in NOTES_HZ:
        raise AudioError(f"no cue {name!r}; known: {' '.join(NOTES_HZ)}")
    gap = np.zeros(round(GAP_S * RATE_HZ), np.float32)
    parts = [part for hz in NOTES_HZ[name] for part in (_note(hz), gap)]
    return Clip.of(np.concatenate(parts), RATE_HZ, name=f"cue {name}")


def _note(hz: float) -> NDArray[np.float32]:
    t = np.arange(round(NOTE_S * RATE_HZ)) / RATE_HZ
    edge = np.clip(np.minimum(t, NOTE_S - t) / EDGE_S, 0.0, 1.0)
    return (LEVEL * np.sin(np.pi / 2 * edge) ** 2 * np.sin(2 * np.pi * hz * t)).astype(np.float32)
