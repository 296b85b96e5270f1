"""Shares that were right, each with its interval on one scale from 0 to 100 percent."""

from dataclasses import dataclass

from textual.reactive import reactive

from listen.rate import Rate
from listen.voice import figures
from listen.voice.text import plain
from tui.widgets.drawn import Cells, DrawnList, Scale

READING = 28
"""Columns of the words at the right."""
MOST_NAME = 26


@dataclass(frozen=True, slots=True)
class Share:
    """One line: words, and the share that was right with its interval."""

    words: str
    rate: Rate
    sureness: float | None = None
    """Sureness stated, where the line is about calls of one sureness."""
    heading: bool = False


class Shares(DrawnList):
    """A line a share; the mark of the share stands inside its interval, a bar where the sureness stated stands."""

    shares: reactive[tuple[Share, ...]] = reactive[tuple[Share, ...]]((), layout=True)

    def drawing(self, width: int) -> list[Cells]:
        if not self.shares:
            return []
        name = min(max(len(s.words) for s in self.shares), MOST_NAME) + 2
        scale, legend = Scale(0.0, 1.0, max(width - name - READING, 10)), Cells(width)
        legend.put(name, "◆ share right  ▒ 95 % interval  │ sureness stated", "dim")
        lines = [self._share(share, name, scale, width) for share in self.shares]
        return [self._axis(name, scale, width), *lines, legend]

    def _axis(self, left: int, scale: Scale, width: int) -> Cells:
        line = Cells(width)
        for value in (0.0, 0.5, 1.0):
            label = figures.share(value)
            at = left + round(scale.column(value)) - (len(label) if value == 1.0 else len(label) // 2 if value else 0)
            line.put(at, label, "dim")
        line.put(left + scale.columns + 1, "right", "dim")
        return line

    def _share(self, share: Share, left: int, scale: Scale, width: int) -> Cells:
        line, rate, pen = Cells(width), share.rate, "strong" if share.heading else "plain"
        line.put(0, plain(share.words), pen, left - 1)
        line.fill(left, left + scale.columns, "·", "rule")
        line.fill(left + round(scale.column(rate.low95)), left + round(scale.column(rate.high95)) + 1, "▒", "air")
        if share.sureness is not None:
            line.dot(left + round(scale.column(share.sureness)), "│", "warn")
        line.dot(left + round(scale.column(rate.value or 0.0)), "◆", "strong")
        text = f"{rate.hits} of {rate.of} ({figures.share(rate.low95)} to {figures.share(rate.high95)})"
        line.put(left + scale.columns + 1, text, pen)
        return line
