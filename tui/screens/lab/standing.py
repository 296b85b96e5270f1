"""How a learner stands, what is suggested next, and the class, as words."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual.content import Content

from listen.voice.text import plain
from tui.content import shown

if TYPE_CHECKING:
    from listen.lab.learners import Learner
    from listen.lab.training.instructor import LearnerRow
    from listen.lab.training.next_drill import Suggestion


def standing(root: Path, learner: Learner | None) -> tuple[LearnerRow | None, Suggestion | None]:
    """The learner asked for, else who was here last; None where nobody learns. Raises what the lab raises."""
    from listen.lab.learners import list_learners
    from listen.lab.training.instructor import last_here, learner_row
    from listen.lab.training.next_drill import suggest

    asked = next((k for k in list_learners(root) if learner is not None and k.id == learner.id), None)
    chosen = asked or last_here(root)
    if chosen is None:
        return None, None
    return learner_row(root, chosen), suggest(root, chosen)


def class_lines(root: Path) -> list[str]:
    """The class, a line a learner; then what all find hardest. Raises what the lab raises."""
    from listen.lab.training.instructor import class_focus, class_table
    from listen.lab.training.score_words import CLASS_HEAD, class_row
    from listen.lab.training.score_words import class_lines as focus_lines

    rows = [class_row(row) for row in class_table(root)]
    lines = [CLASS_HEAD, *rows, "", *focus_lines(class_focus(root))] if rows else []
    return lines or ["No learners yet. Press w to add one."]


def class_file(root: Path) -> Path:
    """Write the class table as CSV into the lab's folder; gives the file. Raises what the lab raises."""
    from listen.errors import LabError
    from listen.lab.training.export import write_class

    path = root / "class.csv"
    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            write_class(root, file)
    except OSError as error:
        raise LabError(f"{path}: cannot be written ({error.strerror or error}); free some room") from error
    return path


def page(row: LearnerRow | None, suggestion: Suggestion | None) -> Content:
    """One learner's page."""
    from listen.lab.ear.playback import CAUTION
    from listen.lab.training.score_words import score_lines

    if row is None:
        return Content("\n").join(
            [shown("Nobody learns here yet.", "bold"), shown("Press w and type a name: that is all."), shown(CAUTION)]
        )
    parts = [shown(line) for line in score_lines(row)]
    if suggestion is not None:
        what = plain(suggestion.title, 120)
        parts += [shown(""), Content.assemble(("Next: ", "bold $accent"), (what, "bold"), f"\n{plain(suggestion.why)}")]
    return Content("\n").join([*parts, shown(""), shown(CAUTION, "$warning")])
