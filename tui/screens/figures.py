"""A figure is asked for, and what is doubtful about it is asked before it is kept."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from listen.jobs.answers import Typed, typed
from listen.jobs.events import ReadingEntered
from listen.trade.readings import Question
from listen.voice.text import plain
from tui.screens.base import BayScreen
from tui.screens.dialog import OneLineScreen, PickScreen

YES, KEEP, NO = "y", "k", "n"
"""Answers to a doubt, each its own key."""


async def settled(
    screen: BayScreen[Any], texts: Mapping[str, str], read: Callable[[str, str], Typed]
) -> dict[str, Typed] | None:
    """Figures as they may be kept, by name; None where they are to be typed again. Raises what reading them raises."""
    while True:
        figures = {name: read(name, text) for name, text in texts.items()}
        doubts = [(name, question) for name, figure in figures.items() for question in figure.questions]
        if not doubts:
            return figures
        meant, answers = was_meant(doubts, texts)
        title = " ".join(question.text for _, question in doubts)
        answer = await screen.answer(PickScreen(title, answers, keyed=True))
        if answer == KEEP:
            return figures
        if answer != YES:
            return None
        texts = {**texts, **meant}


def was_meant(
    doubts: Sequence[tuple[str, Question]], texts: Mapping[str, str]
) -> tuple[dict[str, str], list[tuple[str, str]]]:
    """What is suggested instead of doubted figures, by figure, and the answers to whether that was meant."""
    meant = {name: question.suggestion for name, question in doubts if question.suggestion}
    as_typed = plain(", ".join(texts[name] for name, _ in doubts), 30)
    yes = [(YES, f"yes, {', '.join(meant.values())} was meant")] if meant else []
    return meant, [*yes, (KEEP, f"keep {as_typed} as typed"), (NO, "type it again")]


async def figure_asked(
    screen: BayScreen[Any],
    title: str,
    reading: str,
    cylinder: int | None,
    round_id: str | None = None,
    *,
    held: str = "",
    begun: str = "",
) -> ReadingEntered | None:
    """The figure typed into a line; None where it was left, or left empty.

    ``held`` is what the job has, to be typed over; ``begun`` what was typed already.
    """

    def read(name: str, text: str) -> Typed:
        return typed(name, text, screen.job, cylinder, round_id)

    def may_be(text: str) -> None:
        if text:
            read(reading, text)

    while True:
        line = OneLineScreen(title, held, begun=begun, figure=True, may_be_empty=True, most=16, take=may_be)
        if not (text := await screen.answer(line)):
            return None
        if (figures := await settled(screen, {reading: text}, read)) is not None:
            return figures[reading].event
        begun = ""
