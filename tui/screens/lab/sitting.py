"""Sitting down to a drill, and its clips as pictures side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tui.widgets.heat import STEPS, Picture

if TYPE_CHECKING:
    from listen.lab.learners import Learner
    from listen.lab.training.session import Session

GAP = 2
"""Dark columns between the two pictures."""


def sit_down(root: Path, learner: Learner, drill: str) -> Session:
    """Go on with an unfinished sitting of this drill, or begin a new one. Raises what the lab raises."""
    from listen.lab.training.drills import find_drill
    from listen.lab.training.session import resume, start, unfinished

    left = [s for s in unfinished(root, learner) if s.drill == drill]
    return resume(root, learner, left[-1].id) if left else start(root, learner, find_drill(root, drill))


def side_by_side(files: Sequence[Path], width: int, height: int) -> Picture:
    """Quiet at the left, air at the right, on one scale of loudness. Raises what reading and measuring raise."""
    from listen.audio.files import read_clip
    from listen.signal.exhibit import loudness_steps, pictures_joined

    joined = pictures_joined(
        [read_clip(f) for f in files], rows=max(height - 1, 4) * 2, columns=max(width // 2 - GAP, 8), gap=GAP
    )
    return Picture(loudness_steps(joined, STEPS), (), "left: quiet   right: air   (low frequencies below)")
