"""Clips to be heard back to back: one line a pair (or more), how often it was heard, which clip sounds now."""

from dataclasses import dataclass

from rich.cells import cell_len
from textual.message import Message
from textual.reactive import reactive

from listen.voice.text import plain
from tui.widgets.drawn import Cells, PointedList

MOST_WORDS = 28
"""Columns of a pair's name."""
NONE = "no pairs to hear: a point needs a quiet and an air clip, or a switched take"


@dataclass(frozen=True, slots=True)
class Pair:
    """One line: an identifier, words, and what the clips are called."""

    id: str
    words: str
    clips: tuple[str, ...] = ("first", "second")
    heard: int = 0


class Pairs(PointedList):
    """Up and down choose, a click plays the pair; the screen says which key does."""

    pairs: reactive[tuple[Pair, ...]] = reactive[tuple[Pair, ...]]((), layout=True)
    sounding: reactive[tuple[str, int]] = reactive(("", -1))
    """Pair and clip, from 0, that sound now."""

    @dataclass
    class Play(Message):
        pair: Pair

    @property
    def chosen(self) -> Pair:
        return self.pairs[min(self.at, len(self.pairs) - 1)]

    def count(self) -> int:
        return len(self.pairs)

    def drawing(self, width: int) -> list[Cells]:
        none = Cells(width)
        none.put(2, NONE, "dim")
        beside = 4 + max((min(cell_len(plain(p.words)), MOST_WORDS) for p in self.pairs), default=0)
        return [self._pair(i, pair, beside, width) for i, pair in enumerate(self.pairs)] or [none]

    def _pair(self, at: int, pair: Pair, beside: int, width: int) -> Cells:
        line = self.begun(at, plain(pair.words), width, room=MOST_WORDS)
        for i, name in enumerate(pair.clips):
            live = self.sounding == (pair.id, i)
            beside = line.put(beside, f"♪ {name} ♪" if live else f"  {name}  ", "sure" if live else "dim") + 2
        line.put(beside, f"heard {pair.heard}×" if pair.heard else "not heard yet", "plain" if pair.heard else "warn")
        return line

    def play(self) -> None:
        if self.pairs:
            self.post_message(self.Play(self.chosen))

    def choose(self, at: int, *, clicked: bool = False) -> None:
        super().choose(at)
        if clicked:
            self.play()
