"""Plots in dB: quiet and air spectra over each other in kHz, and the level of a switched take over its time."""

from collections.abc import Sequence
from math import floor, log10
from typing import Any

from textual.app import RenderResult
from textual.containers import Grid
from textual_plot import HiResMode, NumericAxisFormatter, PlotWidget

from listen.rounds.switched_level import SwitchedLevel
from listen.signal.exhibit import Exhibit

KHZ = {log10(hz): f"{hz / 1000:g}" for hz in (500, 1_000, 2_000, 4_000, 8_000, 16_000)}
"""Ticks and their labels: the axis is drawn in lg of frequency."""
LEAST_SPAN_DB, LEAST_LEVEL_SPAN_DB = 16.0, 3.0
"""Height of the plots at least: two alike spectra look alike, and a hiss of a decibel is to be seen."""
STEPS_DB, ROWS_A_TICK = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0), (1, 2, 3, 4, 5)
"""From tick to tick."""
FRAME = 2
"""Rows and columns of the frame."""
BAR_AT, BAR_STEPS = 0.98, 60
"""Where along the take the bar between the means stands, and its dots: more than any screen has rows."""


class _Kilohertz(NumericAxisFormatter):
    """Labels lg frequency as kHz."""

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        return [KHZ.get(t, "") for t in ticks]


class StillPlot(PlotWidget, can_focus=False):
    """A plot that cannot be dragged or zoomed, so that two of them always compare; words before there is a curve."""

    DEFAULT_CSS = "StillPlot { background: $background; min-height: 8; }"

    def __init__(self) -> None:
        super().__init__(allow_pan_and_zoom=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.margin_left, self.margin_bottom, self.margin_top = 7, 3, 0
        self.empty("")

    def empty(self, words: str) -> None:
        """Words in its place: what was drawn for another point must not stay."""
        self.clear()
        self.query_one(Grid).visible = False
        self._words = words
        self.refresh()

    def render(self) -> RenderResult:
        # What is not seen has no size, and the plot asks its canvas for one only once.
        seen = self.query_one(Grid).visible and self.query_one("#plot").size
        return super().render() if seen else self._words

    def show(self, seen: Exhibit | SwitchedLevel) -> None:
        """Draw it once there is room for it."""
        self.query_one(Grid).visible = True
        self.call_after_refresh(self._draw, seen)

    def _draw(self, seen: Exhibit | SwitchedLevel) -> None:
        self.refresh(layout=True)
        self.draw(seen)

    def draw(self, seen: Any) -> None:
        raise NotImplementedError

    def hold(self, low_db: float, high_db: float, least_span_db: float) -> None:
        """An axis of decibels that holds these levels."""
        rows = self.size.height - self.margin_bottom - FRAME
        low, high, ticks = even_rows(low_db, high_db, rows, least_span_db)
        self.set_yticks([round(tick, 6) + 0.0 for tick in ticks])  # no minus before a zero
        self.set_ylimits(low, high)


class SpectraPlot(StillPlot):
    """Spectra over each other, that of the quiet in dots; tones as upright lines."""

    def on_mount(self) -> None:
        super().on_mount()
        self.set_x_formatter(_Kilohertz())
        self.set_xticks(list(KHZ))
        self.set_xlabel("kHz")

    def draw(self, seen: Exhibit) -> None:
        self.clear()
        theme, lg = self.app.theme_variables, seen.lg_freq
        columns = max(self.size.width - self.margin_left - FRAME, 1)
        if seen.quiet is not None:
            some = slice(None, None, max(round(len(lg) / columns), 1))
            levels, pen = seen.quiet.level_db[some], theme["secondary"]
            self.scatter(lg[some], levels, marker_style=pen, hires_mode=HiResMode.BRAILLE)
        if seen.air is not None:
            self.plot(lg, seen.air.level_db, line_style=theme["primary"], hires_mode=HiResMode.BRAILLE)
        for hz in seen.tones_hz:
            self.add_v_line(log10(hz), line_style=theme["warning"])
        levels_db = [c.level_db for c in (seen.quiet, seen.air) if c is not None]
        self.set_xlimits(float(lg[0]), float(lg[-1]))
        self.hold(min(float(c.min()) for c in levels_db), max(float(c.max()) for c in levels_db), LEAST_SPAN_DB)


class LevelPlot(StillPlot):
    """Seconds and decibels of a switched take."""

    def on_mount(self) -> None:
        super().on_mount()
        self.set_xlabel("seconds; dB over the mean with the air off")

    def draw(self, seen: SwitchedLevel) -> None:
        """The level of the whole take as a line; moments of air off and on as blocks, their means as flat lines."""
        self.clear()
        theme, first_s, last_s = self.app.theme_variables, float(seen.t_s[0]), float(seen.t_s[-1])
        self.plot(seen.t_s, seen.level_db, line_style=theme["panel-lighten-2"], hires_mode=HiResMode.BRAILLE)
        rise = [seen.difference_db * i / BAR_STEPS for i in range(BAR_STEPS + 1)]
        at = first_s + BAR_AT * (last_s - first_s)
        self.scatter([at] * len(rise), rise, marker_style=theme["accent"], hires_mode=HiResMode.QUADRANT)
        for moments, mean_db, pen in ((seen.off, 0.0, "secondary"), (seen.on, seen.difference_db, "primary")):
            self.plot((first_s, last_s), (mean_db, mean_db), line_style=theme[pen], hires_mode=HiResMode.BRAILLE)
            levels = seen.level_db[moments]
            self.scatter(seen.t_s[moments], levels, marker_style=theme[pen], hires_mode=HiResMode.QUADRANT)
        self.set_xlimits(first_s, last_s)
        levels = seen.level_db[seen.off | seen.on]
        self.hold(float(levels.min()), float(levels.max()), LEAST_LEVEL_SPAN_DB)


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
