"""The application: themes, the one open job, and the way between screens."""

import os
import sys
import traceback
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from textual.app import SystemCommand
from textual.binding import Binding
from textual.filter import Monochrome
from textual.screen import Screen

from tui.bridge.bay import Bay
from tui.bridge.others import LOOK_EVERY_S, Others
from tui.bridge.services import Services
from tui.content import DrawnOnly
from tui.screens.base import BayScreen
from tui.screens.dialog import OneLineScreen
from tui.screens.help.screen import HelpScreen
from tui.screens.jobs.screen import JobsScreen
from tui.screens.ordered_keys import OrdersKeys
from tui.themes import DAYLIGHT, DIM_BAY, THEMES, AnySegment

FAULT = (
    "something failed inside ({}). Every clip that was acknowledged is on disk; start hissway again to go on. "
    "Details are in {}."
)


WHO = "Who sits here? The name stands on everything written from now on."
SITTING = (
    "Another name begins another sitting: what was shown and played until now was not shown to them. A call by ear is "
    "blind only where clips were played to that person before a number of the round was shown to them. "
    "Enter keeps it, Esc leaves it as it was."
)


class HisswayApp(OrdersKeys, Bay):
    """The screens of the bay, their themes, and the keys that work on all of them."""

    TITLE = "Hissway"
    CSS_PATH = "app.tcss"
    BINDINGS = [
        Binding("question_mark,f1", "explain", "Help", key_display="?"),
        Binding("f2", "who", "Who sits here", show=False),
        Binding("ctrl+t", "daylight", "Light or dark", show=False),
        Binding("ctrl+q", "quit", "Quit", show=False, priority=True),
        Binding("ctrl+z", "stand_still", "To the shell, fg back", show=False, priority=True),
    ]

    def __init__(self, jobs: Path | None = None, *, services: Services | None = None) -> None:
        super().__init__(jobs, services=services)
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = DAYLIGHT.name if self.preferences.daylight else DIM_BAY.name
        self.fault = ""
        """What failed inside, in the words of the last line of its trace; empty while nothing has."""
        # The terminal's guard comes last: whatever the others make of a line goes through it.
        self._filters = [AnySegment() if isinstance(f, Monochrome) else f for f in self._filters] + [DrawnOnly()]

    def on_mount(self) -> None:
        """Other programs may write to the open job too."""
        self.set_interval(LOOK_EVERY_S, Others(self).look)

    def get_default_screen(self) -> Screen[None]:
        return JobsScreen()

    def sit(self, name: str, role: str) -> None:
        super().sit(name, role)
        for screen in self._of_the_bay():
            screen.note_shown()

    def show_writing(self) -> None:
        for screen in self._of_the_bay():
            screen.show_remark()

    def _of_the_bay(self) -> list[BayScreen[Any]]:
        return [s for s in self.screen_stack if isinstance(s, BayScreen) and s.is_mounted]

    def action_who(self) -> None:

        def named(name: str | None) -> None:
            if name:
                self.sit(" ".join(name.split()), self.sitting.role or "tech")

        if not isinstance(self.screen, OneLineScreen):
            self.push_screen(OneLineScreen(WHO, self.sitting.name, how=SITTING, most=60), named)

    def action_help_quit(self) -> None:
        """Ctrl+C leaves, as it does everywhere else; everything kept is already on disk."""
        self.exit()

    def action_stand_still(self) -> None:
        """Give the terminal back to the shell until ``fg``; a program that stands still hears and writes nothing."""
        doing = [s.under_way() for s in self.screen_stack if isinstance(s, BayScreen)]
        doing += ["the disk has not taken yet what was written"] * self.journal.busy
        if sys.platform == "win32" or self._driver is None or not self._driver.can_suspend:
            self.tell(
                "This terminal brings back no program that stands still. Ctrl+Q leaves; all that was kept is on disk."
            )
        elif any(doing):
            self.tell(f"Not now: {', '.join(filter(None, doing))}.", bad=True)
        else:
            self.action_suspend_process()

    def action_explain(self) -> None:
        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen.of(self.screen))

    def action_daylight(self) -> None:
        self.theme = DAYLIGHT.name if self.theme == DIM_BAY.name else DIM_BAY.name
        self.prefer(daylight=self.theme == DAYLIGHT.name)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        yield SystemCommand("Help for this screen", "What this screen is for and its keys", self.action_explain)
        yield SystemCommand("Who sits here", "Say who you are; it stands on what you write", self.action_who)
        yield SystemCommand("Light or dark", "Change between daylight and the dim bay", self.action_daylight)
        yield SystemCommand("Quit", "Leave Hissway; everything kept is already on disk", self.exit)

    def _fatal_error(self) -> None:
        """A fault of ours: the trace goes to the log on fd 2; the sentence waits for the terminal to be given back."""
        trace = traceback.format_exc()
        os.write(2, trace.encode("utf-8", "replace"))
        self.fault = self.fault or trace.strip().splitlines()[-1][:200]
        self._return_code = 1
        self.panic()

    def on_unmount(self) -> None:
        self.close()
