"""Detection and cover as panels of the drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from listen.bench.accuracy.bars import COVERAGE_BAR, DEPTH_BAR_DB
from listen.bench.accuracy.cover import Cover
from listen.bench.accuracy.detection import DETECTED, Detection

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MARKS = ("o", "s", "^")


def detection_panel(ax: Axes, found: Detection) -> None:
    """Share detected over hiss level, with the limit and its bar."""
    for d, mark in zip(found.depths, MARKS, strict=False):
        levels, shares = zip(*d.by_level, strict=True)
        ax.plot(levels, shares, marker=mark, label=f"{d.background} noise")
    limit = found.depths[0].limit_db
    ax.axvspan(limit, limit + DEPTH_BAR_DB, color="0.9", label=f"limit and {DEPTH_BAR_DB:g} dB above")
    ax.axhline(DETECTED, color="0.6", linewidth=0.8)
    ax.set(xlabel="hiss over background, dB", ylabel="share detected", title="detection at one false alarm in 1000")
    ax.legend(loc="lower right")


def cover_panel(ax: Axes, rows: tuple[Cover, ...]) -> None:
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
