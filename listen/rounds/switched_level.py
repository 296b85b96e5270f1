"""A switched take as a picture: its level over time, which moments had the air on, and by how much these are louder."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.audio.files import read_clip
from listen.rounds.switching import level_track, timed
from listen.signal.switched import NEARLY_OFF
from listen.signal.switched_clip import off_and_on
from listen.signal.switching_found import centres_s

LEAST = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class SwitchedLevel:
    """One take over its time."""

    t_s: NDArray[np.float64]
    """[shape=(n,)]."""
    level_db: NDArray[np.float64]
    """Power over the hiss bands, each about its usual size, over the mean with the air off [shape=(n,)]."""
    on: NDArray[np.bool_]
    """The air was on and everything settled [shape=(n,)]."""
    off: NDArray[np.bool_]
    """The air was off and its hiss had died away [shape=(n,)]."""
    difference_db: float
    """Mean with the air on over that with it off."""
    cycles: int
    decay_s: float | None
    found: bool
    """True where the edges are heard in the sound; false where they are as commanded."""


def switched_level(path: Path, on_s: tuple[tuple[float, float], ...] = ()) -> SwitchedLevel | None:
    """Look at one take; ``None`` where no switching is commanded or heard.

    Raises ClipError: the file cannot be read or measured."""
    clip = read_clip(path)
    timeline = timed([clip], on_s)[0].timeline
    if timeline is None:
        return None
    # Digital silence would have no level in dB.
    z = np.maximum(level_track(clip), LEAST)
    t_s = centres_s(len(z))
    # A loud hiss that has died to a fifth still stands above the shop: what is left of it has to be less here.
    off, on = off_and_on(timeline, t_s, NEARLY_OFF)
    if not on.any() or not off.any():
        return None
    quiet = float(z[off].mean())
    return SwitchedLevel(
        t_s=t_s,
        level_db=np.asarray(10 * np.log10(z / quiet)),
        on=on,
        off=off,
        difference_db=float(10 * np.log10(z[on].mean() / quiet)),
        cycles=timeline.cycles,
        decay_s=timeline.decay_s,
        found=timeline.found,
    )
