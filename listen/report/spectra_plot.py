"""Quiet and air spectra of one point over each other, as an inline SVG that follows the page's colours."""

import io
import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Clip

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
    """Typical band level over the clip: median frame, so that a knock does not bend the line.

    Returns
    -------
    freqs_hz, level_db
        Band middles and levels in dB re full scale [shape=(bands,)].
    """
    from listen.signal.spectra import spectra

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
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    settings: Any = {"svg.fonttype": "none", "svg.hashsalt": name, "font.size": 11.0, "font.family": "sans-serif"}
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=SIZE_IN)
        FigureCanvasSVG(figure)
        figure.patch.set_alpha(0.0)
        figure.subplots_adjust(left=0.16, right=0.97, top=0.97, bottom=0.21)
        _draw(figure.add_subplot(), levels(quiet), levels(air))
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata=dict.fromkeys(("Creator", "Date", "Format", "Type")))
    return inline(out.getvalue(), name)


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
    body = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r'\bid="', f'id="{name}-', body)
    body = re.sub(r'href="#', f'href="#{name}-', body)
    body = re.sub(r"url\(#", f"url(#{name}-", body)
    body = re.sub(r"\d+\.\d+", lambda m: f"{float(m[0]):.4g}", body)  # a tenth of a point: nothing finer can be drawn
    body = re.sub(r"\n\s*", " ", body)
    for stand_in, variable in COLOURS.items():
        body = body.replace(stand_in, f"var({variable})")
    return re.sub(r"<svg\b[^>]*?(viewBox=\"[^\"]*\")[^>]*>", r'<svg \1 class="plot" aria-hidden="true">', body, count=1)
