"""The middle of the Round screen: the microphone, or what the step asks for; and where the keys go."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widget import Widget
from textual.widgets import ContentSwitcher

from tui.widgets.countdown import Countdown
from tui.widgets.level_meter import LevelMeter
from tui.widgets.panels import CautionPanel, Choice, ChoicePanel, Entry, EntryPanel


class Desk(ContentSwitcher):
    """One of four things at a time."""

    def __init__(self) -> None:
        super().__init__(id="desk", initial="microphone")

    def compose(self) -> ComposeResult:
        """Microphone, cautions, figures, answers."""
        with Vertical(id="microphone"):
            yield Countdown()
            yield LevelMeter()
        yield CautionPanel(id="caution")
        yield EntryPanel(id="entry")
        yield ChoicePanel(id="choice")

    @property
    def shows(self) -> str:
        """Which of the four."""
        return self.current or ""

    def microphone(self, home: Widget) -> None:
        """The meter; keys go to ``home``."""
        self._turn("microphone")
        if self.screen.focused is not home:
            home.focus()

    def caution(self, rows: list[tuple[bool, str]], defer: str) -> None:
        """Cautions to acknowledge."""
        if self._turn("caution"):
            self.query_one(CautionPanel).show(rows, defer)
        self.query_one(CautionPanel).focus()

    def entry(self, entries: tuple[Entry, ...], remark: str = "") -> None:
        """Figures to type."""
        panel = self.query_one(EntryPanel)
        self._turn("entry")
        panel.show(entries, remark)

    def choice(self, choices: tuple[Choice, ...], about: str, *, sure: bool = False) -> None:
        """Answers to choose from; ``sure``: and how sure."""
        panel = self.query_one(ChoicePanel)
        if self._turn("choice") or panel.about != about:
            panel.show(choices, about, sure=sure)
        panel.focus()

    def _turn(self, to: str) -> bool:
        """Show one; True where it was another before."""
        changed = self.current != to
        if changed:
            self.query_one(EntryPanel).clear()
            self.current = to
            self.set_class(to == "caution", "-tall")
        return changed
