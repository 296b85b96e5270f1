"""A list of lines, each with an identifier; filled anew, one stays on the line one was on."""

from collections.abc import Iterable

from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option


class Paged(OptionList):
    """Turns no page before it is laid out, when it has none: keys may come as soon as its screen is there."""

    def action_page_up(self) -> None:
        if self.scrollable_content_region:
            super().action_page_up()  # type: ignore[no-untyped-call]

    def action_page_down(self) -> None:
        if self.scrollable_content_region:
            super().action_page_down()  # type: ignore[no-untyped-call]


class Lines(Paged):
    """Lines without an identifier are headings: the pointer passes over them."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, markup=False, compact=True)

    @property
    def here(self) -> str:
        """Identifier of the line one is on; empty where there is none."""
        option = self.highlighted_option
        return option.id or "" if option else ""

    def put(self, lines: Iterable[tuple[str, Content | str]], go_to: str = "") -> None:
        """Fill anew: the pointer goes to a line, else stays on its line, else at its place."""
        at, was = self.highlighted, go_to or self.here
        self.clear_options()
        self.add_options([Option(words, id=id or None, disabled=not id) for id, words in lines])
        ids = [option.id for option in self.options]
        if was in ids:
            self.highlighted = ids.index(was)
        elif any(ids):
            # Its line has gone: the nearest that is no heading.
            free = [i for i, id in enumerate(ids) if id]
            self.highlighted = min(free, key=lambda i: abs(i - (at or 0)))
