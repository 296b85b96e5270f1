"""Quiet and air spectra over each other, with axes in kHz and dB and the tones marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from textual_plot import HiResMode, NumericAxisFormatter, PlotWidget

TICKS_HZ = (500, 1_000, 2_000, 4_000, 8_000, 16_000)
TICK_LG = (2.69897, 3.0, 3.30103, 3.60206, 3.90309, 4.20412)
"""Their common logarithms: the axis is drawn in lg of frequency."""

LEAST_REACH_DB = 8.0
"""Half the height of the plot at least, so that two alike spectra look alike."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One line: values over the shared axis, its words and its pen."""

    levels_db: Sequence[float]
    words: str
    colour: str


class _Kilohertz(NumericAxisFormatter):
    """Labels lg frequency as kHz."""

    def get_labels_for_ticks(self, ticks: Sequence[float]) -> list[str]:
        """Kilohertz without needless digits."""
        return [f"{TICKS_HZ[TICK_LG.index(t)] / 1000:g}" if t in TICK_LG else "" for t in ticks]


class SpectraPlot(PlotWidget, can_focus=False):
    """A still plot; it cannot be dragged or zoomed, so that two of them always compare."""

    DEFAULT_CSS = """
    SpectraPlot { background: $background; min-height: 8; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, allow_pan_and_zoom=False)

    def on_mount(self) -> None:
        """Axes."""
        super().on_mount()
        self.margin_left, self.margin_bottom, self.margin_top = 7, 3, 0
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
            self.plot(lg_freq, curve.levels_db, line_style=curve.colour, hires_mode=HiResMode.BRAILLE)
        for tone in tones_lg:
            self.add_v_line(tone, line_style=tone_pen)
        values = [v for curve in curves for v in curve.levels_db]
        if len(lg_freq) and values:
            self.set_xlimits(lg_freq[0], lg_freq[-1])
            middle = (min(values) + max(values)) / 2
            reach = max(max(values) - middle + 2.0, LEAST_REACH_DB)
            self.set_ylimits(middle - reach, middle + reach)
