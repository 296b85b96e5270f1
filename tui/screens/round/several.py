"""Asking for one path or several by ticks: a call by ear of two at once, a supervisor's other opinion."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from tui.screens.round.asks import calls, names_a_path
from tui.screens.ticks import TickScreen

if TYPE_CHECKING:
    from listen.trade.points import Point
    from tui.screens.base import BayScreen


def ask_paths(
    screen: BayScreen[None],
    title: str,
    points: tuple[Point, ...],
    keep: Callable[[tuple[str, ...]], None],
    ticked: tuple[str, ...] = (),
) -> None:
    """Ask which paths it is; ``keep`` is given them, and nothing happens where none is chosen."""

    def chosen(paths: tuple[str, ...] | None) -> None:
        if paths:
            keep(paths)

    options = [(c.id, c.words) for c in calls(points) if names_a_path(c.id)]
    screen.app.push_screen(TickScreen(title, options, ticked), chosen)
