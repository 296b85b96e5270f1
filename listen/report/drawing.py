"""Where things stand in the drawings: the engine from above, and a round's decibel ladder;
and quiet and air spectra of a point over each other, as an inline SVG that follows the page's colours."""

import io
import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.report.content import Part
from listen.signal.clip import Clip
from listen.signal.spectra import spectra
from listen.trade.engine import Engine, place

ROW_GAP, PLACE_GAP, EDGE = 112.0, 104.0, 58.0
"""Distances in the engine drawing: between rows, between cylinders of a row, to the rim."""
RADIUS = 36.0
LADDER_WIDTH, LABEL_WIDTH, LINE, TOP, RIGHT = 420.0, 158.0, 30.0, 40.0, 16.0
"""The ladder: whole width (a phone's, so that its words are not scaled away), room for names, height of a line, room
for the scale, room at the end."""
LEAST_DB, MOST_DB = -1.0, 3.0
"""The ladder always shows at least this much."""
STEPS_DB = (0.5, 1, 2, 5, 10, 20)
TICKS_MOST = 7


def engine_drawing(engine: Engine, marked: Collection[int], alt: str, *, between: bool = False) -> Part:
    """The engine from above, front end to the left: flat enough for a phone; heads, cylinders and bridges between two.

    The places in question are marked; ``between`` marks the gasket between them, not the cylinders.
    """
    at: dict[int, tuple[float, float]] = {}
    for n in engine.cylinders:
        row, i = place(engine, n)
        # Turned so that the front is at the left; the left row then lies at the bottom.
        at[n] = EDGE + PLACE_GAP * i, EDGE + ROW_GAP * (len(engine.rows) - 1 - row)
    pairs = [(at[a], at[b]) for a in marked for b in marked if between and a < b and a in at and b in at]
    return {
        "width": 2 * EDGE + PLACE_GAP * (max(map(len, engine.rows)) - 1),
        "height": 2 * EDGE + ROW_GAP * (len(engine.rows) - 1),
        "heads": [_around([at[n] for n in head]) for head in engine.heads or engine.rows if head],
        "bridges": [_box((ax + bx) / 2 - 7, (ay + by) / 2 - 24, 14, 48) for (ax, ay), (bx, by) in pairs],
        "spots": [{"number": n, "x": x, "y": y, "marked": n in marked and not between} for n, (x, y) in at.items()],
        "alt": alt,
    }


def _box(x: float, y: float, width: float, height: float) -> Part:
    return {"x": x, "y": y, "width": width, "height": height}


def _around(points: Sequence[tuple[float, float]]) -> Part:
    xs, ys = zip(*points, strict=True)
    rim = RADIUS + 12
    return _box(min(xs) - rim, min(ys) - rim, max(xs) - min(xs) + 2 * rim, max(ys) - min(ys) + 2 * rim)


@dataclass(frozen=True, slots=True)
class Ladder:
    """Excess per point, a line each, on one scale whose zero is the shop's own noise."""

    low_db: float
    high_db: float
    alt: str
    height: float
    width: float = LADDER_WIDTH

    def x(self, db: float) -> float:
        span = (self.high_db - self.low_db) * 1.04
        return LABEL_WIDTH + (LADDER_WIDTH - LABEL_WIDTH - RIGHT) * (db - self.low_db) / span

    def y(self, i: int) -> float:
        return TOP + LINE * (i + 0.5)

    @property
    def ticks(self) -> list[tuple[float, str]]:
        return [(self.x(t), f"{t:+g}" if t else "0") for t in ticks(self.low_db, self.high_db)]


def ladder(points: Sequence[Part]) -> Ladder:
    held = ("excess_db", "low_db", "high_db", "limit_db")
    figures = [p[name] for p in points for name in held if p[name] is not None]
    words = " ".join(f"{p['words']}: {p['says']}" for p in points)
    return Ladder(
        low_db=min([LEAST_DB, *figures]),
        high_db=max([MOST_DB, *figures]),
        alt=f"Excess in decibels above the shop's own noise. {words}",
        height=TOP + LINE * len(points) + 10,
    )


def ticks(low: float, high: float) -> list[float]:
    """Round figures on a scale, zero among them."""
    step = next((s for s in STEPS_DB if (high - low) / s <= TICKS_MOST), STEPS_DB[-1] * 2)
    first = math.ceil(low / step)
    return [round(i * step, 6) for i in range(first, math.floor(high / step) + 1)]


INK, GRID, QUIET, AIR, MORE = "#010203", "#040506", "#070809", "#0a0b0c", "#0d0e0f"
"""Stand-ins in the plot, exchanged for the page's own colours."""
COLOURS = {INK: "--ink", GRID: "--line", QUIET: "--quiet", AIR: "--air", MORE: "--more"}
LOW_HZ, HIGH_HZ = 100.0, 20_000.0
BANDS = 72
"""Bands of equal ratio from LOW_HZ to HIGH_HZ (about ten a octave at the top, bins permitting)."""
FLOOR = 1e-16
"""Smallest power drawn, -160 dB re full scale."""
SIZE_IN = (4.6, 2.7)
"""Drawn at about one point a pixel on a phone, so that 11-point labels can be read there."""


Line = tuple[NDArray[np.float64], NDArray[np.float64]]


def levels(clip: Clip) -> Line:
    """Band middles in Hz and typical levels in dB re full scale [shape=(bands,)]: of the median frame, so that a knock
    does not bend the line."""
    found = spectra(clip)
    power = np.median(found.power, axis=0)
    edges = np.geomspace(LOW_HZ, min(HIGH_HZ, clip.rate_hz / 2), BANDS + 1)
    cuts = np.unique(np.searchsorted(found.freq_hz, edges).clip(1, len(power) - 1))
    sums = np.add.reduceat(power[: cuts[-1]], cuts[:-1])
    width = np.diff(cuts)
    middle = np.sqrt(found.freq_hz[cuts[:-1]] * found.freq_hz[cuts[1:]])
    return middle, 10 * np.log10(np.maximum(sums / width, FLOOR))


def spectra_svg(quiet: Clip, air: Clip, name: str) -> str:
    """Draw both lines; ``name`` (letters, digits, hyphens) keeps identifiers of several plots apart.

    Raises ClipError: a clip is too short to have a spectrum."""
    return inline(_plot(quiet, air), name)


def _plot(quiet: Clip, air: Clip) -> str:
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    # A salt of our own: identifiers are drawn by lot without one, and the same clips must give the same page.
    settings: Any = {"svg.fonttype": "none", "svg.hashsalt": "spectra", "font.size": 11.0, "font.family": "sans-serif"}
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=SIZE_IN)
        FigureCanvasSVG(figure)
        figure.patch.set_alpha(0.0)
        figure.subplots_adjust(left=0.16, right=0.97, top=0.97, bottom=0.21)
        _draw(figure.add_subplot(), levels(quiet), levels(air))
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata=dict.fromkeys(("Creator", "Date", "Format", "Type")))
    return out.getvalue()


def _draw(axes: Any, quiet: Line, air: Line) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    axes.patch.set_alpha(0.0)
    same = np.interp(air[0], quiet[0], quiet[1])
    axes.fill_between(air[0], same, air[1], where=list(air[1] > same), color=MORE, alpha=0.35, linewidth=0)
    axes.semilogx(*quiet, color=QUIET, linewidth=1.2, linestyle=(0, (4, 2)), label="quiet")
    axes.semilogx(*air, color=AIR, linewidth=1.6, label="air")
    axes.set_xlabel("frequency, Hz", color=INK)
    axes.set_ylabel("dB re full scale", color=INK)
    axes.set_xlim(LOW_HZ, HIGH_HZ)
    axes.xaxis.set_major_locator(FixedLocator([100, 300, 1000, 3000, 10000]))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda hz, _: f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.grid(True, color=GRID, linewidth=0.6)
    axes.tick_params(colors=INK, length=3)
    for side in axes.spines.values():
        side.set_color(GRID)
    axes.legend(loc="upper right", frameon=False, labelcolor=INK)


def inline(svg: str, name: str) -> str:
    """Ready for a page: no prologue, no global style, identifiers and colours of its own, no digit too many."""
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>|<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    # Several plots stand on one page: each one's clip paths and markers must be its own.
    body = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>{name}-", body)
    body = re.sub(r"\d+\.\d+", lambda m: f"{float(m[0]):.4g}", body)  # a tenth of a point: nothing finer can be drawn
    body = re.sub(r"\n\s*", " ", body)
    for stand_in, variable in COLOURS.items():
        body = body.replace(stand_in, f"var({variable})")
    return re.sub(r"<svg\b[^>]*?(viewBox=\"[^\"]*\")[^>]*>", r'<svg \1 class="plot" aria-hidden="true">', body, count=1)
