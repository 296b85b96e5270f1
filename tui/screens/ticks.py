"""Small dialogs: tick one or several, or answer for each, by arrows, mouse or the key before each; Enter keeps."""

from collections.abc import Sequence
from typing import ClassVar

from textual import events, on
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from listen.voice.text import plain
from tui.screens.dialog import ListDialog

ALONE = "none"
"""Sound is no path: it stands alone."""
HOW = "Space or its key ticks, Enter keeps what is ticked (or the line one is on), Esc goes back"
HOW_ANSWERED = "Space goes from not asked to [x] yes and [–] no, Enter keeps it, Esc changes nothing"
KEYS = 9
"""Lines that have a key of their own; of a longer list a first letter goes to its line."""
OPEN, YES, NO = "[ ]", "[x]", "[–]"
Line = tuple[str, str] | tuple[str, str, str]
"""Identifier, words, and what they mean."""


class TickScreen(ListDialog[tuple[str, ...]]):
    """Dismisses with the identifiers ticked, in the order of the list, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "dismiss(None)", "Back"),
        Binding("space", "tick", "Tick", priority=True),
    ]

    def __init__(self, title: str, options: Sequence[Line], ticked: tuple[str, ...] = (), how: str = HOW) -> None:
        super().__init__(title, how)
        self._options = options
        self.boxes = {o[0]: YES if o[0] in ticked else OPEN for o in options}

    @property
    def ticked(self) -> set[str]:
        """Identifiers of the lines that are ticked."""
        return {id for id, box in self.boxes.items() if box == YES}

    def options(self) -> list[Option]:
        """Each with its box."""
        return [Option(self._words(i), id=o[0]) for i, o in enumerate(self._options)]

    def on_mount(self) -> None:
        self.begin_at(next((i for i, box in enumerate(self.boxes.values()) if box == YES), 0))

    def _words(self, i: int) -> Content:
        id, words, *more = self._options[i]
        key = f"{i + 1} " if len(self._options) <= KEYS else ""
        return Content.assemble((self.boxes[id], "bold"), f" {key} ", plain(words), *(f"  {plain(m)}" for m in more))

    def action_tick(self) -> None:
        """Tick the line one is on, or take its tick away."""
        if (at := self.query_one(OptionList).highlighted) is not None:
            self._tick(at)

    def _tick(self, at: int) -> None:
        self.turn(self._options[at][0])
        options = self.query_one(OptionList)
        for i in range(len(self._options)):
            options.replace_option_prompt_at_index(i, self._words(i))
        options.highlighted = at

    def turn(self, id: str) -> None:
        """Another box for a line."""
        box = OPEN if self.boxes[id] == YES else YES
        for other in self.boxes:
            if box == YES and ALONE in (id, other) and other != id:
                self.boxes[other] = OPEN
        self.boxes[id] = box

    def on_key(self, event: events.Key) -> None:
        """The key that stands before a line ticks it; in a longer list a letter goes to its line."""
        character = (event.character or "").casefold()
        if character.isdecimal() and 1 <= int(character) <= len(self._options) <= KEYS:
            event.stop()
            self._tick(int(character) - 1)
        elif len(self._options) > KEYS and self.to_letter(character, [o[1] for o in self._options]):
            event.stop()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.handed_in(event.option.id or "")

    def handed_in(self, at: str) -> None:
        """Enter on a line: what is ticked, or that line where nothing is."""
        self.dismiss(tuple(id for id in self.boxes if id in self.ticked) or (at,))


class AnswerScreen(TickScreen):
    """A question answered for several lines at once: yes, no, or not asked; dismisses with ``id=box`` of each."""

    def __init__(self, title: str, options: Sequence[Line], boxes: dict[str, str]) -> None:
        super().__init__(title, options, how=HOW_ANSWERED)
        self.boxes |= boxes

    def turn(self, id: str) -> None:
        """From not asked to yes, no, and back."""
        self.boxes[id] = {OPEN: YES, YES: NO, NO: OPEN}[self.boxes[id]]

    def handed_in(self, at: str) -> None:
        """Every line's box; where none was touched the line one is on is a yes."""
        if set(self.boxes.values()) == {OPEN}:
            self.boxes[at] = YES
        self.dismiss(tuple(f"{id}={box}" for id, box in self.boxes.items()))
