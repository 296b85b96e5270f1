"""Sitting down to a drill, and its clips as pictures side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tui.widgets.heat import STEPS, Picture

if TYPE_CHECKING:
    from listen.lab.learners import Learner
    from listen.lab.training.held import Held
    from listen.lab.training.session import Session
    from listen.signal.clip import Clip
    from listen.signal.exhibit import Exhibit

GAP = 2
"""Dark columns between the two pictures."""


def sit_down(root: Path, learner: Learner, drill: str) -> Session:
    """Go on with an unfinished sitting of this drill, or begin a new one. Raises what the lab raises."""
    from listen.lab.training.drills import find_drill
    from listen.lab.training.session import resume, start, unfinished

    left = [s for s in unfinished(root, learner) if s.opened.drill == drill]
    return resume(root, learner, left[-1].opened.session) if left else start(root, learner, find_drill(root, drill))


def to_play(held: Held, at: str, *, without: bool) -> tuple[list[Clip], float]:
    """Quiet and air of a point, or the air clip without its hiss and with it, and one comfortable gain."""
    from listen.lab.ear.playback import comfortable_gain_db

    quiet, air = held.pair(at)
    first = held.without_hiss(at) if without else quiet
    clips = [quiet if first is None else first, air]
    return clips, comfortable_gain_db(*clips)


def spectra_of(held: Held, at: str) -> Exhibit:
    """Quiet and air spectra of a point over one axis. Raises what measuring raises."""
    from listen.signal.exhibit import exhibit

    return exhibit(*held.pair(at))


def side_by_side(clips: Sequence[Clip], width: int, height: int) -> Picture:
    """Quiet at the left, air at the right, on one scale of loudness. Raises what measuring raises."""
    from listen.signal.exhibit import loudness_steps, pictures_joined

    joined = pictures_joined(list(clips), rows=max(height - 1, 4) * 2, columns=max(width // 2 - GAP, 8), gap=GAP)
    return Picture(loudness_steps(joined, STEPS), (), "left: quiet   right: air   (low frequencies below)")
