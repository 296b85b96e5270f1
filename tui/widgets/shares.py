"""Shares that were right, each with its interval on one scale from 0 to 100 percent."""

from dataclasses import dataclass

from textual.reactive import reactive

from listen.voice import figures
from listen.voice.text import plain
from tui.widgets.drawn import Cells, Drawn, Scale

READING = 28
"""Columns of the words at the right."""
MOST_NAME = 26


@dataclass(frozen=True, slots=True)
class Share:
    """One line: words, the share that was right, how many of how many, and the share's interval."""

    words: str
    share: float
    right: int
    calls: int
    low: float
    high: float
    sureness: float | None = None
    """Sureness stated, where the line is about calls of one sureness."""
    heading: bool = False


class Shares(Drawn):
    """A line a share; the mark of the share stands inside its interval, a bar where the sureness stated stands."""

    DEFAULT_CSS = "Shares { height: auto; }"

    shares: reactive[tuple[Share, ...]] = reactive[tuple[Share, ...]]((), layout=True)

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        return len(self.shares) + 2 if self.shares else 0

    def draw_line(self, y: int, width: int) -> Cells:
        line = Cells(width, "plain")
        name = min(max((len(s.words) for s in self.shares), default=0), MOST_NAME) + 2
        scale = Scale(0.0, 1.0, max(width - name - READING, 10))
        if y == 0:
            self._axis(line, name, scale)
        elif y <= len(self.shares):
            self._share(line, self.shares[y - 1], name, scale)
        else:
            line.put(name, "◆ share right  ▒ 95 % interval  │ sureness stated", "dim")
        return line

    def _axis(self, line: Cells, left: int, scale: Scale) -> None:
        for value in (0.0, 0.5, 1.0):
            label = figures.share(value)
            at = left + round(scale.column(value)) - (len(label) if value == 1.0 else len(label) // 2 if value else 0)
            line.put(at, label, "dim")
        line.put(left + scale.columns + 1, "right", "dim")

    def _share(self, line: Cells, share: Share, left: int, scale: Scale) -> None:
        line.put(0, plain(share.words), "strong" if share.heading else "plain", left - 1)
        line.fill(left, left + scale.columns, "·", "rule")
        line.fill(left + round(scale.column(share.low)), left + round(scale.column(share.high)) + 1, "▒", "air")
        if share.sureness is not None:
            line.dot(left + round(scale.column(share.sureness)), "│", "warn")
        line.dot(left + round(scale.column(share.share)), "◆", "strong")
        text = f"{share.right} of {share.calls} ({figures.share(share.low)} to {figures.share(share.high)})"
        line.put(left + scale.columns + 1, text, "strong" if share.heading else "plain")
