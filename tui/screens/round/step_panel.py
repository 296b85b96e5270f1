"""The middle of the Round screen: the microphone, or what the step asks for; and where the keys go."""

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widget import Widget
from textual.widgets import ContentSwitcher

from tui.screens.round.view import Answers, Cautions, Microphone, Panel
from tui.widgets.large import Countdown
from tui.widgets.level_meter import LevelMeter
from tui.widgets.panels import CautionPanel, ChoicePanel


class StepPanel(ContentSwitcher):
    """One of three things at a time."""

    def __init__(self) -> None:
        super().__init__(id="step-panel", initial="microphone")

    def compose(self) -> ComposeResult:
        with Vertical(id="microphone"):
            yield Countdown()
            yield LevelMeter()
        yield CautionPanel(id="caution")
        yield ChoicePanel(id="choice")

    def show(self, panel: Panel, home: Widget) -> None:
        """Show a panel and give it the keys; those of the microphone go to ``home``."""
        match panel:
            case Microphone(idle):
                self._turn("microphone")
                self.query_one(Countdown).idle = idle
                self.screen.set_focus(home)
            case Cautions(rows):
                shown = self.query_one(CautionPanel)
                if self._turn("caution"):
                    shown.show(rows)
                self.screen.set_focus(shown)
            case Answers(choices, about, sure):
                asked = self.query_one(ChoicePanel)
                if self._turn("choice") or asked.about != about:
                    asked.show(choices, about, sure=sure)
                self.screen.set_focus(asked)

    def _turn(self, to: str) -> bool:
        """Show one; True where it was another before."""
        changed = self.current != to
        if changed:
            self.current = to
            self.styles.height = "1fr" if to == "caution" else "auto"
        return changed
