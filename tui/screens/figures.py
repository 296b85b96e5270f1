"""A figure is asked for, and what is doubtful about it is asked before it is kept."""

from collections.abc import Sequence
from typing import Any

from listen.jobs.answers import Typed, typed
from listen.jobs.events import ReadingEntered
from listen.trade.readings import Question
from listen.voice.text import plain
from tui.screens.base import BayScreen
from tui.screens.dialog import OneLineScreen

YES, KEEP, NO = "y", "k", "n"
"""Answers to a doubt, each its own key."""


def was_meant(questions: Sequence[Question], text: str) -> tuple[str, list[tuple[str, str]]]:
    """What is suggested instead of a doubted figure, and the answers to whether that was meant."""
    meant = next((q.suggestion for q in questions if q.suggestion), "")
    yes = [(YES, f"yes, {meant} was meant")] if meant else []
    return meant, [*yes, (KEEP, f"keep {plain(text, 30)} as typed"), (NO, "type it again")]


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

    def read(text: str) -> Typed:
        return typed(reading, text, screen.job, cylinder, round_id)

    def may_be(text: str) -> None:
        if text:
            read(text)

    while text := await screen.answer(
        OneLineScreen(title, held, begun=begun, figure=True, may_be_empty=True, most=16, take=may_be)
    ):
        answer: str | None = YES
        while answer == YES:
            event, questions = read(text)
            if not questions:
                return event
            meant, answers = was_meant(questions, text)
            answer = await screen.pick(" ".join(q.text for q in questions), answers, keyed=True)
            if answer == KEEP:
                return event
            text = meant
        begun = ""
    return None
