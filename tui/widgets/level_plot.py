"""The level of a switched take over its time: moments with the air off and on, and the mean of each."""

from collections.abc import Sequence
from dataclasses import dataclass

from textual_plot import HiResMode

from tui.widgets.spectra_plot import FRAME, StillPlot, even_rows

BAR_AT, BAR_STEPS = 0.98, 60
"""Where along the take the bar between the means stands, and its dots: more than any screen has rows."""
LEAST_SPAN_DB = 3.0
"""Height of the plot at least: a hiss of a decibel is to be seen."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Moments of one kind: when, how loud, their mean, and the pen."""

    t_s: Sequence[float]
    level_db: Sequence[float]
    mean_db: float
    colour: str


class LevelPlot(StillPlot):
    """A plot of seconds and decibels."""

    def on_mount(self) -> None:
        super().on_mount()
        self.set_xlabel("seconds; upwards dB over the mean with the air off")

    def show(
        self, t_s: Sequence[float], level_db: Sequence[float], pens: tuple[str, str], parts: Sequence[Moments]
    ) -> None:
        """The level of the whole take as a line; each kind's moments as blocks, its mean as a flat line.

        ``pens``: that of the level, and that of the bar from one mean to the other.
        """
        self.clear()
        self.plot(t_s, level_db, line_style=pens[0], hires_mode=HiResMode.BRAILLE)
        low, high = sorted(part.mean_db for part in parts)
        rise = [low + (high - low) * i / BAR_STEPS for i in range(BAR_STEPS + 1)]
        at = t_s[0] + BAR_AT * (t_s[-1] - t_s[0])
        self.scatter([at] * len(rise), rise, marker_style=pens[1], hires_mode=HiResMode.QUADRANT)
        for part in parts:
            ends = ((t_s[0], t_s[-1]), (part.mean_db, part.mean_db))
            self.plot(*ends, line_style=part.colour, hires_mode=HiResMode.BRAILLE)
            self.scatter(part.t_s, part.level_db, marker_style=part.colour, hires_mode=HiResMode.QUADRANT)
        self.set_xlimits(t_s[0], t_s[-1])
        values = [v for part in parts for v in part.level_db]
        rows = self.size.height - self.margin_bottom - FRAME
        low, high, ticks = even_rows(min(values), max(values), rows, LEAST_SPAN_DB)
        self.set_yticks([round(tick, 6) + 0.0 for tick in ticks])  # no minus before a zero
        self.set_ylimits(low, high)
