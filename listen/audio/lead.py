"""Leading a hand through a switched take: what the valve should be doing, how long still, and the tones that say so."""

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from time import monotonic

import numpy as np
from numpy.typing import NDArray

from listen.audio.player import Player
from listen.errors import AudioError
from listen.signal.clip import Clip


@dataclass(frozen=True, slots=True)
class Moment:
    on: bool
    """True while the air should be on."""
    left_s: float
    """Until it should change, or the take ends."""
    cycle: int
    """Which time the air is or was last on; 0 before the first."""
    of: int

    @property
    def words(self) -> str:
        """In capitals what to do with the valve, and the count."""
        return f"AIR {'ON ' if self.on else 'OFF'} {self.left_s:4.1f}  {self.cycle} of {self.of}"


@dataclass(frozen=True, slots=True)
class Lead:
    on_s: tuple[tuple[float, float], ...]
    seconds: float

    def at(self, t_s: float) -> Moment:
        edges = [e for pair in self.on_s for e in pair]
        passed = sum(e <= t_s for e in edges)
        until = edges[passed] if passed < len(edges) else self.seconds
        # Edges open and shut in turn: after an odd number of them the air is on.
        return Moment(passed % 2 == 1, max(0.0, until - t_s), (passed + 1) // 2, len(self.on_s))

    def sound(self, player: Player, over: threading.Event, now: Callable[[], float] = monotonic) -> None:
        """Give each command by its tone at its time, from now on; a loudspeaker that fails leaves the count to lead.

        Call it from a thread of its own.
        """
        began = now()
        edges = [edge for opens, shuts in self.on_s for edge in ((opens, "open"), (shuts, "shut"))]
        # Until each edge from the start, not from tone to tone: no delay adds up over the take.
        for at_s, name in sorted(edges):
            if over.wait(max(0.0, began + at_s - now())):
                return
            with suppress(AudioError):
                player.play(cue(name))


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
