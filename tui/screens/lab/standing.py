"""What the screens ask of the lab: how a learner stands, the class, a sitting, its clips to hear and to see."""

from collections.abc import Sequence
from pathlib import Path

from textual.content import Content

from listen.lab.ear.playback import CAUTION
from listen.lab.learners import Learner, list_learners
from listen.lab.training.drills import find_drill
from listen.lab.training.held import Held
from listen.lab.training.instructor import (
    CLASS_HEAD,
    ROW,
    SHORT_HEAD,
    LearnerRow,
    class_focus,
    class_row,
    class_table,
    last_here,
    learner_row,
    score_lines,
)
from listen.lab.training.instructor import class_lines as focus_lines
from listen.lab.training.next_drill import Suggestion, suggest
from listen.lab.training.session import Session, resume, start, unfinished
from listen.signal.clip import Clip
from listen.signal.exhibit import loudness_steps, pictures_joined
from listen.voice.text import plain
from tui.bridge.playback import levelled
from tui.content import shown
from tui.widgets.heat import STEPS, Picture


def standing(root: Path, learner: Learner | None) -> tuple[LearnerRow | None, Suggestion | None]:
    """The learner asked for, else who was here last; None where nobody learns. Raises what the lab raises."""
    asked = next((k for k in list_learners(root) if learner is not None and k.id == learner.id), None)
    chosen = asked or last_here(root)
    if chosen is None:
        return None, None
    return learner_row(root, chosen), suggest(root, chosen)


def class_lines(root: Path, columns: int) -> list[str]:
    """The class, a line or two a learner; then what all find hardest. Raises what the lab raises."""
    rows = [line for row in class_table(root) for line in class_row(row, columns)]
    lines = [CLASS_HEAD if columns >= ROW else SHORT_HEAD, *rows, "", *focus_lines(class_focus(root))] if rows else []
    return lines or ["No learners yet. Press w to add one."]


def page(row: LearnerRow | None, suggestion: Suggestion | None) -> Content:
    if row is None:
        return Content("\n").join(
            [shown("Nobody learns here yet.", "bold"), shown("Press w and type a name: that is all."), shown(CAUTION)]
        )
    parts = [shown(line) for line in score_lines(row)]
    if suggestion is not None:
        what = plain(suggestion.title, 120)
        parts += [shown(""), Content.assemble(("Next: ", "bold $accent"), (what, "bold"), f"\n{plain(suggestion.why)}")]
    return Content("\n").join([*parts, shown(""), shown(CAUTION, "$warning")])


GAP = 2
"""Dark columns between the two pictures."""


def sit_down(root: Path, learner: Learner, drill: str) -> Session:
    """Go on with an unfinished sitting of this drill, or begin a new one. Raises what the lab raises."""
    left = [s for s in unfinished(root, learner) if s.opened.drill == drill]
    return resume(root, learner, left[-1].opened.session) if left else start(root, learner, find_drill(root, drill))


def to_play(held: Held, at: str, *, without: bool) -> tuple[list[Clip], float]:
    """Quiet and air of a point, or the air clip without its hiss and with it, and one comfortable gain."""
    quiet, air = held.pair(at)
    first = held.without_hiss(at) if without else quiet
    return levelled([quiet if first is None else first, air])


def side_by_side(clips: Sequence[Clip], width: int, height: int) -> Picture:
    """Quiet at the left, air at the right, on one scale of loudness. Raises what measuring raises."""
    joined = pictures_joined(list(clips), rows=max(height - 1, 4) * 2, columns=max(width // 2 - GAP, 8), gap=GAP)
    return Picture(loudness_steps(joined, STEPS), (), "left: quiet   right: air   (low frequencies below)")
