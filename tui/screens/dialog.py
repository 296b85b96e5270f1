"""Small dialogs above a screen: a line to type, one of several to choose, several to tick or to answer."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from listen.errors import HisswayError
from listen.voice.text import plain
from tui.content import HANGING, beside, shown
from tui.screens.ordered_keys import OrderedKeys
from tui.widgets.field import Field
from tui.widgets.lines import Paged

R = TypeVar("R")
AROUND, LEAST = 6, 3
"""Lines of frame and padding with one free line above and below; lines of a list at least."""
WIDEST, BESIDE = 90, 9
"""Columns of the box at most (``.tcss``), and beside a list in it: frame, padding, scroll bar, the screen's edge."""
ALIGNED = 28
"""Columns up to which what the lines mean begins at one column."""
ALONE = "none"
"""Sound is no path: it stands alone."""
MOST = 1200
"""Characters above and below: what is signed, and what the signature covers, is read whole, and a dialog fits 80x24."""
KEYS = 9
"""Lines to tick that have a key of their own; of a longer list a first letter goes to its line."""
Line = tuple[str, str] | tuple[str, str, str]
"""Identifier, words, and what they mean."""


class Dialog(ModalScreen[R], OrderedKeys[R]):
    """A box with a title above and what the keys do below; subclasses give what stands between. Esc leaves."""

    BINDINGS = [Binding("escape", "leave", "Back")]
    PEN = "bold"
    """Of the title."""

    def __init__(self, title: str, how: str) -> None:
        super().__init__()
        self._title, self._how = title, how

    def body(self) -> ComposeResult:
        """What stands between title and keys."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        with Vertical(classes="box"):
            yield Static(shown(self._title, self.PEN, MOST))
            yield from self.body()
            yield Static(shown(self._how, "$secondary", MOST), id="how")

    def warn(self, what: object) -> None:
        self.query_one("#how", Static).update(shown(f"! {what}", "$warning"))

    def action_leave(self) -> None:
        self.dismiss(None)


class OneLineScreen(Dialog[str]):
    """Dismisses with what was typed, or None. An empty line is kept only where ``may_be_empty``.

    What ``take`` refuses is said, and the line stays open. ``begun`` was typed already and is gone on with; where a
    ``figure`` is typed a question mark asks for help.
    """

    def __init__(
        self,
        title: str,
        text: str = "",
        *,
        how: str = "Enter keeps it, Esc leaves all as it was",
        hint: str = "",
        may_be_empty: bool = False,
        most: int = 400,
        begun: str = "",
        figure: bool = False,
        take: Callable[[str], None] = lambda _: None,
    ) -> None:
        super().__init__(title, how)
        self._field = Field(
            begun or text, placeholder=hint, compact=True, max_length=most, id="line", select_on_focus=not begun
        )
        self._field.figure = figure
        self.set_class(figure, "-low")  # what stands above in the table is to be seen while a figure is typed
        self._text, self._may_be_empty, self._take = text, may_be_empty, take
        self._warned = ""
        """What was typed when leaving was asked about."""

    def body(self) -> ComposeResult:
        yield self._field

    def on_mount(self) -> None:
        self.set_focus(self._field)

    def action_leave(self) -> None:
        """Leave; what was typed is dropped only by a second key."""
        typed = self._field.value.strip()
        if typed in ("", self._text, self._warned):
            self.dismiss(None)
            return
        self._warned = typed
        self.warn("Enter keeps what was typed, Esc again drops it")

    def take_key(self, event: events.Key) -> bool:
        """Enter keeps it at once: through the field's queue the keys behind it would overtake it."""
        if event.key == "enter":
            self.keep(self._field.value.strip())
            return True
        return super().take_key(event)

    def keep(self, text: str) -> None:
        if not text and not self._may_be_empty:
            self.warn("A word or two, please")
            return
        try:
            self._take(text)
        except HisswayError as e:
            self.warn(e)
        else:
            self.dismiss(text)


class ListDialog(Dialog[R]):
    """A list between title and keys; one too long for the screen scrolls. A letter goes to the next line it begins.

    Where the lines have a key each, it does at once what the line is for.
    """

    def __init__(self, title: str, how: str, options: Sequence[Line], at: int = 0, keys: Sequence[str] = ()) -> None:
        super().__init__(title, how)
        self._options, self._at, self.keys = options, at, keys

    def words(self, i: int) -> Content:
        """A line's own words."""
        raise NotImplementedError

    def lines(self) -> list[Content]:
        """All lines as they fit, with what they mean."""
        words, columns = [self.words(i) for i in range(len(self._options))], min(self.app.size.width, WIDEST) - BESIDE
        explained = [w.cell_length for w, o in zip(words, self._options, strict=True) if len(o) > 2 and o[2]]
        at = max((n for n in explained if n <= ALIGNED), default=0) + HANGING
        return [beside(w, (*o, "")[2], at, columns) for w, o in zip(words, self._options, strict=True)]

    def put(self) -> None:
        """Write all lines anew; the pointer stays on its line."""
        options = self.query_one(OptionList)
        at = options.highlighted
        for i, line in enumerate(self.lines()):
            options.replace_option_prompt_at_index(i, line)
        options.highlighted = at

    def chosen(self, id: str) -> None:
        """Enter or a click on a line."""
        raise NotImplementedError

    def pressed(self, at: int) -> None:
        """The key that stands before a line."""
        self.chosen(self._options[at][0])

    def body(self) -> ComposeResult:
        lines = (Option(line, id=o[0]) for line, o in zip(self.lines(), self._options, strict=True))
        yield Paged(*lines, markup=False, compact=True)

    def on_mount(self) -> None:
        options = self.query_one(OptionList)
        options.highlighted = self._at
        self.set_focus(options)

    def take_key(self, event: events.Key) -> bool:
        typed = event.character or ""
        key = str(int(typed)) if typed.isdecimal() else typed
        if key in self.keys:
            self.pressed(self.keys.index(key))
            return True
        return super().take_key(event) or self._go_to(typed.casefold())

    def _go_to(self, letter: str) -> bool:
        options, words = self.query_one(OptionList), [plain(o[1]).lstrip().casefold() for o in self._options]
        after = [((options.highlighted or 0) + i) % len(words) for i in range(1, len(words) + 1)]
        found = next((i for i in after if letter.isalnum() and words[i].startswith(letter)), None)
        if found is not None:
            options.highlighted = found
        return found is not None

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.chosen(event.option.id or "")

    def on_resize(self) -> None:
        """Title and keys stay on the screen, whatever the list's length."""
        self.put()
        self.call_after_refresh(self._fit)

    def _fit(self) -> None:
        words = sum(w.outer_size.height + w.styles.margin.height for w in self.query(Static))
        options = self.query_one(OptionList)
        options.styles.max_height = max(self.size.height - AROUND - words, LEAST)
        self.call_after_refresh(options.scroll_to_highlight)


class PickScreen(ListDialog[str]):
    """Dismisses with the identifier chosen, or None. Where ``keyed`` the identifiers are keys that choose at once."""

    def __init__(self, title: str, options: Sequence[Line], chosen: str = "", *, keyed: bool = False) -> None:
        ids = [o[0] for o in options]
        how = f"{'a key answers' if keyed else '↑ ↓ or a first letter'}, Enter chooses, Esc goes back"
        super().__init__(title, how, options, ids.index(chosen) if chosen in ids else 0, ids if keyed else ())

    def words(self, i: int) -> Content:
        key = f"[{self.keys[i]}] " if self.keys else ""
        return Content.assemble((key, "$warning"), (plain(self._options[i][1]), "bold"))

    def chosen(self, id: str) -> None:
        self.dismiss(id)


class TickScreen(ListDialog[tuple[str, ...]]):
    """Dismisses with the identifiers ticked, in the order of the list, or None."""

    BINDINGS = [Binding("space", "tick", "Tick", priority=True)]
    HOW = "Space{} ticks, Enter keeps what is ticked (or the line one is on), Esc goes back"

    def __init__(self, title: str, options: Sequence[Line], ticked: tuple[str, ...] = ()) -> None:
        self.ticked = {o[0] for o in options if o[0] in ticked}
        """Identifiers of the lines that are ticked."""
        keys = [str(i) for i in range(1, len(options) + 1)] if len(options) <= KEYS else []
        how = self.HOW.format(" or its key" if keys else "")
        super().__init__(title, how, options, next((i for i, o in enumerate(options) if o[0] in ticked), 0), keys)

    def words(self, i: int) -> Content:
        id, words = self._options[i][:2]
        key, box = f"{self.keys[i]} " if self.keys else "", "[x]" if id in self.ticked else "[ ]"
        return Content.assemble((box, "bold"), f" {key} ", plain(words))

    def action_tick(self) -> None:
        if (at := self.query_one(OptionList).highlighted) is not None:
            self.pressed(at)

    def pressed(self, at: int) -> None:
        id = self._options[at][0]
        if id in self.ticked:
            self.ticked.remove(id)
        else:
            self.ticked = {id} if id == ALONE else {*self.ticked, id} - {ALONE}
        self.query_one(OptionList).highlighted = at
        self.put()  # all of them: one tick may have cleared others

    def chosen(self, id: str) -> None:
        """What is ticked, or that line where nothing is."""
        self.dismiss(tuple(o[0] for o in self._options if o[0] in self.ticked) or (id,))
