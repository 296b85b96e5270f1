"""The figures of one run of ``hissway bench accuracy --json`` as a drawing: how sure against how often right, and our
method among its peers."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

from listen.bench.accuracy.detection import DETECTED
from listen.bench.accuracy.scores import COVERAGE_BAR, DEPTH_BAR_DB
from listen.errors import ReportError
from listen.rate import Rate

if TYPE_CHECKING:  # half a second of the processor in every process that collects tests
    from matplotlib.axes import Axes

SUMMARY = "draw the figures of a run of hissway bench accuracy"
EXAMPLE = "python -m tests plot figures.json figures.svg"
PANEL_IN = (5.2, 3.6)
HASH_SALT = "hissway-accuracy"
"""Identifiers inside the SVG come from this, not from the clock: the same figures give the same file."""


def read(figures: str | bytes) -> SimpleNamespace:
    """What ``hissway bench accuracy --json`` printed, counts as :class:`Rate`."""
    counts = set(Rate.__struct_fields__)
    return json.loads(figures, object_hook=lambda d: Rate(**d) if set(d) == counts else SimpleNamespace(**d))


def draw_plot(found: SimpleNamespace, file: Path) -> None:
    """Draw all parts into one file, two panels a contest. Raises ReportError: the file cannot be written."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    panels = _panels(found)
    rows = max((len(panels) + 1) // 2, 1)
    with matplotlib.rc_context({"svg.hashsalt": HASH_SALT, "font.size": 8}):
        figure, axes = plt.subplots(
            rows, 2, figsize=(2 * PANEL_IN[0], rows * PANEL_IN[1]), squeeze=False, layout="constrained"
        )
        for ax, panel in zip(axes.flat, panels, strict=False):
            panel(ax)
        for ax in list(axes.flat)[len(panels) :]:
            ax.set_axis_off()
        try:
            figure.savefig(file, metadata={"Date": None} if file.suffix == ".svg" else None)
        except (OSError, ValueError) as e:
            raise ReportError(f"{file}: the plot cannot be written ({e}); give a folder that exists and .svg") from e
        finally:
            plt.close(figure)


def _panels(found: SimpleNamespace) -> list[Callable[[Axes], None]]:
    out: list[Callable[[Axes], None]] = []
    for c in found.contests:
        out += [partial(_reliability, contest=c), partial(_peers, contest=c)]
    if found.detection is not None:
        out.append(partial(detection_panel, found=found.detection))
    if found.cover:
        out.append(partial(cover_panel, rows=found.cover))
    return out


def _reliability(ax: Axes, contest: SimpleNamespace) -> None:
    sure, right, rounds = zip(*((b.mean_sure, b.rate.value, b.rate.of) for b in contest.reliability), strict=True)
    ax.plot([0, 1], [0, 1], color="0.6", linestyle="--", label="what it says is what happens")
    ax.plot(sure, right, marker="o", color="black", label="hissway, ten bins")
    for x, y, n in zip(sure, right, rounds, strict=True):
        ax.annotate(str(n), (x, y), textcoords="offset points", xytext=(4, -10))
    ax.set(xlabel="odds of the most likely path", ylabel="share truly there", title=contest.title)
    ax.legend(loc="upper left")


def _peers(ax: Axes, contest: SimpleNamespace) -> None:
    for line in contest.lines:
        ours = line.scripted is None
        rate = line.scores.right
        if rate.value is None:
            continue
        x, y = 100 * (line.scores.coverage.value or 0.0), 100 * rate.value
        down, up = y - 100 * rate.low95, 100 * rate.high95 - y
        ax.errorbar(x, y, [[down], [up]], marker="o" if ours else "x", color="black" if ours else "0.5", capsize=2)
        ax.annotate(line.name, (x, y), textcoords="offset points", xytext=(4, 3))
    ax.axhline(97, color="0.7", linewidth=0.8)
    ax.axvline(85, color="0.7", linewidth=0.8)
    ax.set(xlabel="rounds answered, %", ylabel="right of answered, %", title="bars: grey lines", xlim=(0, 130))


MARKS = ("o", "s", "^")


def detection_panel(ax: Axes, found: SimpleNamespace) -> None:
    """Share detected over hiss level, with the limit and its bar."""
    for d, mark in zip(found.depths, MARKS, strict=False):
        levels, shares = zip(*d.by_level, strict=True)
        ax.plot(levels, shares, marker=mark, label=f"{d.background} noise")
    limit = found.depths[0].limit_db
    ax.axvspan(limit, limit + DEPTH_BAR_DB, color="0.9", label=f"limit and {DEPTH_BAR_DB:g} dB above")
    ax.axhline(DETECTED, color="0.6", linewidth=0.8)
    ax.set(xlabel="hiss over background, dB", ylabel="share detected", title="detection at one false alarm in 1000")
    ax.legend(loc="lower right")


def cover_panel(ax: Axes, rows: list[SimpleNamespace]) -> None:
    """Share of 95 % intervals that hold the truth, by shop."""
    ax.axvspan(100 * COVERAGE_BAR[0], 100 * COVERAGE_BAR[1], color="0.9")
    for dy, mark, name in ((-0.15, "o", "silent"), (0.15, "s", "hissing")):
        rates = [c.silent if name == "silent" else c.hissing for c in rows]
        for y, r in enumerate(rates):
            if r.value is not None:
                x = 100 * r.value
                bounds = [[x - 100 * r.low95], [100 * r.high95 - x]]
                ax.errorbar(
                    x, y + dy, xerr=bounds, marker=mark, capsize=2, color="black", label="" if y else f"{name} points"
                )
    ax.set_yticks(range(len(rows)), [c.shop for c in rows])
    ax.set(xlabel="intervals that hold the truth, %", title="cover of the 95 % intervals (bar: grey)")
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """From what, into what."""
    parser.add_argument("figures", type=Path, help="what hissway bench accuracy --json printed")
    parser.add_argument("drawing", type=Path, help="file to write, .svg or .png")


def run(args: argparse.Namespace) -> int:
    """Draw them."""
    draw_plot(read(args.figures.read_bytes()), args.drawing)
    return 0
