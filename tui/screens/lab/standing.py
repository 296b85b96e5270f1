"""How a learner stands, what is suggested next, and the class, as words."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from textual.content import Content

from tui.words import plain, shown

if TYPE_CHECKING:
    from listen.lab.learners import Learner
    from listen.lab.training.instructor import LearnerRow
    from listen.lab.training.next_drill import Suggestion


def standing(root: Path, learner: Learner | None) -> tuple[LearnerRow | None, Suggestion | None]:
    """The learner asked for, else the first; None where nobody learns. Raises what the lab raises."""
    from listen.lab.learners import list_learners
    from listen.lab.training.instructor import learner_row
    from listen.lab.training.next_drill import suggest

    known = list_learners(root)
    chosen = next((k for k in known if learner is not None and k.id == learner.id), known[0] if known else None)
    if chosen is None:
        return None, None
    return learner_row(root, chosen), suggest(root, chosen, datetime.now(UTC))


def class_lines(root: Path) -> list[str]:
    """Every learner's standing, a line each figure. Raises what the lab raises."""
    from listen.lab.training.instructor import class_table
    from listen.lab.training.score_words import score_lines

    lines = [line for row in class_table(root) for line in (*score_lines(row), "")]
    return lines or ["No learners yet. Press w to take one in."]


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
        what = plain(suggestion.drill.title, 80) if suggestion.drill else "a new drill, made by: hissway lab make"
        parts += [shown(""), Content.assemble(("Next: ", "bold $accent"), (what, "bold"), f"\n{plain(suggestion.why)}")]
    return Content("\n").join([*parts, shown(""), shown(CAUTION, "$warning")])
