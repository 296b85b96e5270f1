"""Plots in dB: quiet and air spectra over each other in kHz, and the level of a switched take over its time."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from textual_plot import HiResMode, NumericAxisFormatter, PlotWidget

TICKS_HZ = (500, 1_000, 2_000, 4_000, 8_000, 16_000)
TICK_LG = (2.69897, 3.0, 3.30103, 3.60206, 3.90309, 4.20412)
"""Their common logarithms: the axis is drawn in lg of frequency."""

LEAST_SPAN_DB = 16.0
"""Height of the plot at least, so that two alike spectra look alike."""
STEPS_DB, ROWS_A_TICK = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0), (1, 2, 3, 4, 5)
"""From tick to tick."""
FRAME = 2
"""Rows and columns of the frame."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One line: values over the shared axis and its pen."""

    levels_db: Sequence[float]
    colour: str
    dotted: bool = False
    """Told from a whole line without colour."""


class _Kilohertz(NumericAxisFormatter):
    """Labels lg frequency as kHz."""

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Kilohertz without needless digits."""
        return [f"{TICKS_HZ[TICK_LG.index(t)] / 1000:g}" if t in TICK_LG else "" for t in ticks]


class StillPlot(PlotWidget, can_focus=False):
    """A plot that cannot be dragged or zoomed, so that two of them always compare."""

    DEFAULT_CSS = "StillPlot { background: $background; min-height: 8; }"

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, allow_pan_and_zoom=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.margin_left, self.margin_bottom, self.margin_top = 7, 3, 0


class SpectraPlot(StillPlot):
    """Spectra over each other."""

    def on_mount(self) -> None:
        super().on_mount()
        self.set_x_formatter(_Kilohertz())
        self.set_xticks(list(TICK_LG))
        self.set_xlabel("kHz")

    def empty(self) -> None:
        """Nothing to draw: what was drawn for another point must not stay."""
        self.clear()

    def show(self, lg_freq: Sequence[float], curves: Sequence[Curve], tones_lg: Sequence[float], tone_pen: str) -> None:
        """Draw the curves; tones as upright lines."""
        self.clear()
        for curve in curves:
            self._draw(lg_freq, curve)
        for tone in tones_lg:
            self.add_v_line(tone, line_style=tone_pen)
        values = [v for curve in curves for v in curve.levels_db]
        if len(lg_freq) and values:
            self.set_xlimits(lg_freq[0], lg_freq[-1])
            low, high, ticks = even_rows(min(values), max(values), self.size.height - self.margin_bottom - FRAME)
            self.set_yticks(ticks)
            self.set_ylimits(low, high)

    def _draw(self, lg_freq: Sequence[float], curve: Curve) -> None:
        if not curve.dotted:
            self.plot(lg_freq, curve.levels_db, line_style=curve.colour, hires_mode=HiResMode.BRAILLE)
            return
        columns = max(self.size.width - self.margin_left - FRAME, 1)
        some = slice(None, None, max(round(len(lg_freq) / columns), 1))
        self.scatter(lg_freq[some], curve.levels_db[some], marker_style=curve.colour, hires_mode=HiResMode.BRAILLE)


def even_rows(
    least: float, most: float, rows: int, least_span: float = LEAST_SPAN_DB
) -> tuple[float, float, list[float]]:
    """Limits and ticks of an axis of so many rows on which every tick stands the same number of rows from the next."""
    middle, span = (least + most) / 2, max(most - least, least_span)
    for a_row, step in sorted(((db / n, db) for db in STEPS_DB for n in ROWS_A_TICK), key=lambda s: (s[0], -s[1])):
        first = step * floor((middle - rows * a_row / 2) / step + 1)
        low = first - a_row / 2  # half a row: no tick falls between two rows
        high = low + rows * a_row
        if rows * a_row >= span and low <= least and most <= high:
            break
    return low, high, [first + step * i for i in range(int((high - first) / step) + 1)]


BAR_AT, BAR_STEPS = 0.98, 60
"""Where along the take the bar between the means stands, and its dots: more than any screen has rows."""
LEAST_LEVEL_SPAN_DB = 3.0
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
        low, high, ticks = even_rows(min(values), max(values), rows, LEAST_LEVEL_SPAN_DB)
        self.set_yticks([round(tick, 6) + 0.0 for tick in ticks])  # no minus before a zero
        self.set_ylimits(low, high)
