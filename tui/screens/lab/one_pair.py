"""Screens that ask again and again which of several clips held it."""

from collections.abc import Sequence
from typing import TypeVar

from textual.app import ComposeResult
from textual.widgets import Static

from tui.content import shown
from tui.screens.hearing import HearingScreen
from tui.widgets.banner import Banner, Say
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import Choice, ChoicePanel

R = TypeVar("R")


class OnePairScreen(HearingScreen[R]):
    """One pair at a time, its answers, and a word about the last one."""

    CSS_PATH = "lab.tcss"

    def __init__(self) -> None:
        super().__init__()
        self._told = ""

    def body(self) -> ComposeResult:
        """Banner, answers, what sounds, the last word."""
        yield Banner()
        yield ChoicePanel(id="choice")
        yield Pairs()
        yield Static(id="told")

    def on_mount(self) -> None:
        """The answers have the keys."""
        super().on_mount()
        self.query_one(Pairs).can_focus = False

    def ask(self, say: Say, answers: Sequence[Choice], at: str, pair: str) -> None:
        """Put the next pair up, not heard yet; ``at`` stands over the answers."""
        self.query_one(Banner).say = say
        choice = self.query_one(ChoicePanel)
        choice.show(tuple(answers), at)
        choice.focus()
        self.query_one(Pairs).pairs = (Pair("pair", pair, tuple(a.words for a in answers)),)
        self.query_one("#told", Static).update(shown(self._told))

    def over(self, say: Say) -> None:
        """Nothing more is asked."""
        self.query_one(Banner).say = say
        self.query_one(ChoicePanel).display = False
        self.query_one(Pairs).display = False
        self.query_one("#told", Static).update("")
