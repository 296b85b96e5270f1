"""Clips to be heard back to back: one line a pair (or more), how often it was heard, which clip sounds now."""

from dataclasses import dataclass

from rich.cells import cell_len
from textual import events
from textual.binding import Binding
from textual.message import Message
from textual.reactive import reactive

from listen.voice.text import plain
from tui.widgets.drawn import Cells, Drawn

MOST_WORDS = 28
"""Columns of a pair's name."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One line: an identifier, words, and what the clips are called."""

    id: str
    words: str
    clips: tuple[str, ...] = ("first", "second")
    heard: int = 0


class Pairs(Drawn, can_focus=True):
    """Up and down choose, Space plays the pair."""

    DEFAULT_CSS = "Pairs { height: auto; }"
    BINDINGS = [
        Binding("up", "move(-1)", "Pair", show=False),
        Binding("down", "move(1)", "Pair", show=False),
        Binding("space,pagedown", "play", "Play the pair", key_display="Space"),
    ]

    pairs: reactive[tuple[Pair, ...]] = reactive[tuple[Pair, ...]]((), layout=True)
    chosen: reactive[int] = reactive(0)
    sounding: reactive[tuple[str, int]] = reactive(("", -1))
    """Pair and clip, from 0, that sound now."""

    @dataclass
    class Play(Message):
        pair: Pair

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return max(len(self.pairs), 1)

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width, "plain")
        if y >= len(self.pairs):
            line.put(
                2,
                "no pairs to hear: a point needs a quiet and an air clip, or a switched take" if not self.pairs else "",
                "dim",
            )
            return line
        pair, here = self.pairs[y], y == self.chosen
        line.put(0, "▶" if here else " ", "warn")
        line.put(2, plain(pair.words), "strong" if here else "plain", MOST_WORDS)
        at = 4 + max(min(cell_len(plain(p.words)), MOST_WORDS) for p in self.pairs)
        for i, name in enumerate(pair.clips):
            live = self.sounding == (pair.id, i)
            at = line.put(at, f"♪ {name} ♪" if live else f"  {name}  ", "sure" if live else "dim") + 2
        line.put(at, f"heard {pair.heard}×" if pair.heard else "not heard yet", "plain" if pair.heard else "warn")
        return line

    def action_move(self, by: int) -> None:
        self.chosen = min(max(self.chosen + by, 0), max(len(self.pairs) - 1, 0))

    def action_play(self) -> None:
        if self.pairs:
            self.post_message(self.Play(self.pairs[min(self.chosen, len(self.pairs) - 1)]))

    def on_click(self, event: events.Click) -> None:
        if 0 <= event.y < len(self.pairs):
            self.chosen = event.y
            self.action_play()
