"""The step banner: what to do next in one sentence, how to hold the microphone, and what became of the last clip."""

from dataclasses import dataclass

from textual.content import Content
from textual.reactive import reactive
from textual.widgets import Static

from tui.content import shown


@dataclass(frozen=True, slots=True)
class Say:
    """What the banner says: where we are, the next step, more about it, and the last outcome with its tone."""

    where: str = ""
    step: str = ""
    more: str = ""
    outcome: str = ""
    tone: str = "plain"
    """``plain``, ``good``, ``again`` or ``caution``."""


EDGE = 3
"""Columns of border and padding."""
OUTCOME = {"good": "$success", "again": "bold $error"}


class Banner(Static):
    """Four short texts; the border changes its shape, not only its colour, with the tone."""

    DEFAULT_CSS = """
    Banner {
        height: auto; padding: 0 1; background: $surface; border-left: outer $primary;
        &.-good { border-left: outer $success; }
        &.-again { border-left: wide $error; }
        &.-caution { border-left: wide $warning; }
    }
    """

    say: reactive[Say] = reactive(Say())

    def words(self) -> list[Content]:
        say = self.say
        step = "bold $warning" if say.tone == "caution" else "bold"
        told = ((say.where, "$secondary"), (say.step, step), (say.more, "$secondary"))
        outcome = (say.outcome, OUTCOME.get(say.tone, ""))
        return [shown(text, pen) for text, pen in (*told, outcome) if text]

    def lines(self, columns: int) -> int:
        """Lines it takes on a screen of so many columns."""
        return sum(len(text.wrap(columns - EDGE)) for text in self.words())

    def watch_say(self, say: Say) -> None:
        self.update(Content("\n").join(self.words()))
        self.set_classes(f"-{say.tone}")
