"""What a step asks for besides a clip: cautions to read, and a choice to make by one key."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from textwrap import wrap

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.content import Content
from textual.message import Message
from textual.reactive import reactive
from textual.widgets import Static

from listen.trade.cautions import Caution, defer_to_others
from listen.voice import figures
from listen.voice.text import plain
from tui.content import shown
from tui.widgets.drawn import Cells, DrawnList

SEEN_S = 0.4
"""A key that comes sooner after a page was put up says nothing of it: a scanner's burst, or a key held down. Set by
judgement: nobody reads a line in less, and whoever knows the page waits for it once."""
SURE: tuple[float | None, ...] = (None, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
"""How sure one may say to be; nothing said comes first."""
MORE_AT, LEAST_MORE = 24, 20
"""Column at which the meaning of an answer begins, and columns it is broken into at least."""


class CautionPanel(VerticalScroll, can_focus=True):
    """Cautions, those that protect people first in weight. Only what was on the screen can be acknowledged."""

    _up_s = 0.0
    """When the page that is up was put up."""

    def compose(self) -> ComposeResult:
        yield Static(id="cautions")

    def show(self, rows: Iterable[Caution]) -> None:
        """Put them up, from the first on."""
        lines = [
            Content.assemble(("▲ ", "bold $warning") if c.weight == "danger" else ("· ", "$secondary"), plain(c.words))
            for c in rows
        ]
        self.query_one("#cautions", Static).update(Content("\n").join([*lines, shown(defer_to_others(), "$secondary")]))
        self.scroll_home(animate=False)
        self._up_s = time.monotonic()

    def page(self) -> bool:
        """Turn to what has not been on the screen yet; False where all of it has."""
        if not self.size.height:  # not drawn at all yet
            self._up_s = time.monotonic()
        if time.monotonic() - self._up_s < SEEN_S:
            return True
        if self.scroll_y >= self.max_scroll_y:
            return False
        self._up_s = time.monotonic()
        # At once: the next key asks how far it has got.
        self.scroll_to(y=self.scroll_y + self.size.height - 1, animate=False, immediate=True)
        return True


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer: its key, an identifier, and words."""

    key: str
    id: str
    words: str
    more: str = ""


class ChoicePanel(DrawnList, can_focus=True):
    """Answers with a key each; a click on a line gives its answer. Where asked, left and right say how sure."""

    BINDINGS = [Binding("left", "sure(-1)", "Less sure", show=False), Binding("right", "sure(1)", "Surer", show=False)]

    choices: reactive[tuple[Choice, ...]] = reactive[tuple[Choice, ...]]((), layout=True)
    about: reactive[str] = reactive("")
    """What is being asked, for whoever reads the answer."""
    asks_sure: reactive[bool] = reactive(False, layout=True)
    at: reactive[int] = reactive(0)
    """Place in :data:`SURE`."""

    @dataclass
    class Chosen(Message):
        panel: ChoicePanel
        choice: str
        sure: float | None = None

    def _lines(self, width: int) -> list[tuple[int, str]]:
        """Place of the answer, and as much of its meaning as stands on the line."""
        room = max(width - self._more_at(), LEAST_MORE)
        return [(i, part) for i, c in enumerate(self.choices) for part in wrap(c.more, room) or [""]]

    def drawing(self, width: int) -> list[Cells]:
        lines, before = [], -1
        for i, more in self._lines(width):
            lines.append(line := Cells(width))
            if i != before:
                line.put(0, f"[{self.choices[i].key}]", "warn")
                line.put(4, self.choices[i].words, "strong")
            line.put(self._more_at(), more, "dim")
            before = i
        if self.asks_sure:
            lines.append(line := Cells(width))
            sure = SURE[self.at]
            at = line.put(0, "[← →]", "warn")
            at = line.put(at + 1, "not said how sure" if sure is None else f"{figures.share(sure)} sure", "strong")
            line.put(max(at + 2, MORE_AT), "first, if you like: how sure are you?", "dim")
        return lines or [Cells(width)]

    def _more_at(self) -> int:
        """Column of what the answers mean: the same for all that have a meaning."""
        return max([MORE_AT, *(4 + len(c.words) + 2 for c in self.choices if c.more)])

    def show(self, choices: tuple[Choice, ...], about: str, *, sure: bool = False) -> None:
        """Ask; ``sure``: how sure may be said before the answer."""
        self.choices, self.about, self.asks_sure, self.at = choices, about, sure, 0

    def action_sure(self, by: int) -> None:
        if self.asks_sure:
            self.at = min(max(self.at + by, 0), len(SURE) - 1)

    def _answer(self, choice: Choice) -> Chosen:
        return self.Chosen(self, choice.id, SURE[self.at] if self.asks_sure else None)

    def take_key(self, event: events.Key) -> bool:
        choice = next((c for c in self.choices if c.key == (event.character or "").lower()), None)
        if choice is not None:
            self.post_message(self._answer(choice))
        return choice is not None

    def on_click(self, event: events.Click) -> None:
        """A click on a line gives its answer; on the last, the next step of how sure."""
        at, lines = event.get_content_offset(self), self._lines(self.size.width)
        if at is not None and 0 <= at.y < len(lines):
            self.post_message(self._answer(self.choices[lines[at.y][0]]))
        elif at is not None and self.asks_sure:
            self.at = (self.at + 1) % len(SURE)
