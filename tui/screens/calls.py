"""Calls by ear: the answers that can be given at the points of a round, asked one at a time or by ticks."""

from typing import Any

from listen.jobs.job import RoundRecord
from listen.trade.points import PathId, Point
from listen.voice import names
from listen.voice.names import path as path_name
from tui.screens.base import BayScreen
from tui.screens.dialog import TickScreen
from tui.widgets.panels import Choice

DECLINE, UNSURE, SEVERAL = "decline", "unsure", "several"
FILLER = "oil filler"
"""Where rings are heard; on an engine without one, where its crankcase is."""
AT_POINT = {
    PathId.INTAKE_VALVE: "hiss at the intake",
    PathId.EXHAUST_VALVE: "hiss at the tailpipe",
    PathId.RINGS: f"hiss at the {FILLER}, more than normal",
    PathId.COOLANT_PASSAGE: "bubbles or hiss at the radiator",
    PathId.NEXT_CYLINDER: "hiss at a neighbour's plug hole",
    PathId.FITTING: "hiss at the hose or adapter",
    PathId.NONE: "nothing beyond normal blow-by",
}


def calls(points: tuple[Point, ...]) -> tuple[Choice, ...]:
    """By-ear calls that these points can speak of, a key each."""
    at = {path: p.words for p in reversed(points) for path in p.row.own}
    paths = [p for p in AT_POINT if p in at or p in (PathId.FITTING, PathId.NONE)]
    means = [AT_POINT[p].replace(FILLER, at[p]) if p == PathId.RINGS else AT_POINT[p] for p in paths]
    answers = [Choice(str(i), p.value, path_name(p), m) for i, (p, m) in enumerate(zip(paths, means, strict=True), 1)]
    return (
        *answers,
        Choice("m", SEVERAL, "more than one", "two at once, for example: tick them"),
        Choice("u", UNSURE, "heard something, cannot tell where"),
        Choice("d", DECLINE, "decline to call"),
    )


def names_a_path(choice: str) -> bool:
    """Whether an answer is a path, not a way around naming one."""
    return choice not in (DECLINE, UNSURE, SEVERAL)


def said(called: str | tuple[str, ...], sure: float | None) -> dict[str, Any]:
    """What one answer or several paths say in a call by ear; how sure counts only where a path is named."""
    answers = (called,) if isinstance(called, str) else called
    paths = tuple(a for a in answers if names_a_path(a))
    return {"paths": paths, "sure": sure if paths else None, "declined": called == DECLINE}


def tech_call(record: RoundRecord) -> str:
    call = record.call()
    if call is None or call.declined:
        return "The tech made no call by ear."
    when = "before any number was shown" if call.before_numbers else "after numbers had been shown"
    return f"The tech called by ear, {when}: {names.by_ear(call.paths, call.sure)}."


async def paths_asked(screen: BayScreen[None], title: str, points: tuple[Point, ...]) -> tuple[str, ...] | None:
    """Which paths it is; None where none was chosen."""
    options = [(c.id, c.words) for c in calls(points) if names_a_path(c.id)]
    return await screen.answer(TickScreen(title, options))


async def answered(
    screen: BayScreen[None], choice: str, points: tuple[Point, ...], title: str = "Which paths do you hear?"
) -> str | tuple[str, ...] | None:
    """What a choice among :func:`calls` says, once several paths are ticked; None where none was."""
    return await paths_asked(screen, title, points) if choice == SEVERAL else choice
