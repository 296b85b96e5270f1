"""A small dialog: tick one or several, by arrow keys, mouse or the key before each; Enter hands them in."""

from __future__ import annotations

from typing import ClassVar

from textual import events, on
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from tui.screens.dialog import ListDialog
from tui.words import plain

ALONE = "none"
"""Sound is no path: it stands alone."""
HOW = "Space or its key ticks, Enter keeps what is ticked (or the line one is on), Esc goes back"
HOW_NONE = "Space ticks, Enter keeps what is ticked (nothing ticked: none of them), Esc changes nothing"
KEYS = 9
"""Lines that have a key of their own."""


class TickScreen(ListDialog["tuple[str, ...] | None"]):
    """Dismisses with the identifiers ticked, in the order of the list, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Back"),
        Binding("space", "tick", "Tick", priority=True),
    ]

    def __init__(
        self,
        title: str,
        options: list[tuple[str, str]],
        ticked: tuple[str, ...] = (),
        *,
        may_be_none: bool = False,
    ) -> None:
        super().__init__(title, HOW_NONE if may_be_none else HOW)
        self._options, self._may_be_none = options, may_be_none
        self.ticked = {t for t in ticked if t in dict(options)}

    def options(self) -> list[Option]:
        """Each with its box."""
        return [Option(self._words(i), id=o[0]) for i, o in enumerate(self._options)]

    def on_mount(self) -> None:
        """Begin at the first that is ticked."""
        self.begin_at(next((i for i, o in enumerate(self._options) if o[0] in self.ticked), 0))

    def _words(self, i: int) -> Content:
        id, words = self._options[i]
        box = ("[x]" if id in self.ticked else "[ ]", "bold")
        key = f"{i + 1} " if len(self._options) <= KEYS else ""
        return Content.assemble(box, f" {key} ", plain(words))

    def action_tick(self) -> None:
        """Tick the line one is on, or take its tick away."""
        if (at := self.query_one(OptionList).highlighted) is not None:
            self._tick(at)

    def _tick(self, at: int) -> None:
        id = self._options[at][0]
        if id in self.ticked:
            self.ticked.discard(id)
        else:
            self.ticked = {id} if id == ALONE else {*self.ticked - {ALONE}, id}
        options = self.query_one(OptionList)
        for i in range(len(self._options)):
            options.replace_option_prompt_at_index(i, self._words(i))
        options.highlighted = at

    def on_key(self, event: events.Key) -> None:
        """The key that stands before a line ticks it."""
        character = event.character or ""
        if character.isdecimal() and 1 <= int(character) <= len(self._options) <= KEYS:
            event.stop()
            self._tick(int(character) - 1)

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        if not self.ticked and not self._may_be_none and event.option.id:
            self.ticked = {event.option.id}
        self.dismiss(tuple(o[0] for o in self._options if o[0] in self.ticked))
