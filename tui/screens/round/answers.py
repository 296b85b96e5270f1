"""What is asked at a round's steps and between them, and what becomes of the answers."""

from collections.abc import Mapping

from textual import on

from listen.errors import HisswayError
from listen.jobs.answers import typed
from listen.jobs.decision import ASKED
from listen.jobs.events import AirFollowed, BubblesLooked, Payload, PointSkipped, StepPassed
from listen.jobs.walk import Step
from listen.trade.readings import Question
from listen.voice.names import point_name
from listen.voice.text import plain
from tui.screens.base import asks
from tui.screens.calls import SEVERAL, call_event, paths_asked
from tui.screens.dialog import OneLineScreen, PickScreen
from tui.screens.round.taking import Taking
from tui.widgets.entries import EntryPanel
from tui.widgets.panels import ChoicePanel

LOOKED: dict[str, type[AirFollowed | BubblesLooked]] = {"bubbles": BubblesLooked, "followed": AirFollowed}
"""What is kept of something that was looked for."""
REASONS = ("cannot be reached", "not there on this engine", "too loud there at the moment", "no time", "already known")
YES, KEEP, NO, OWN_WORDS, WHOLE_WALK = "y", "k", "n", "o", "w"
"""Answers, each its own key."""


class Answering(Taking):
    """A bench that asks."""

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        self._typed(event.values)

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        about, choice = event.panel.about, event.choice
        if about in LOOKED:
            self.write(LOOKED[about](round_id=self.round_id, seen=choice))
        elif about == "way":
            self.way_chosen(choice)
        elif choice == SEVERAL:
            self._two_paths(event.sure)
        else:
            self._call(event.sure, choice)

    @asks
    async def _typed(self, values: Mapping[str, str]) -> None:
        """Figures came; a doubt is asked before they are kept."""
        job, cylinder = self.opened.job, self.record.cylinder
        try:
            figures = {
                name: typed(name, text, job, cylinder, self.round_id)
                for name, text in values.items()
                if text or name != "restrictor"
            }
        except HisswayError as e:
            self.wrong(str(e))
            return
        doubts = tuple((name, q) for name, f in figures.items() for q in f.questions)
        meant, answers = was_meant(doubts, values)
        answer: str | None = KEEP
        if doubts:
            answer = await self.answer(PickScreen(" ".join(q.text for _, q in doubts), answers, keyed=True))
        if answer == KEEP:
            self.write(*(f.event for f in figures.values()))
        elif answer == YES:
            self._typed({**values, **meant})
        elif answer == NO:
            self.query_one(EntryPanel).clear()
            self.change()

    def _call(self, sure: float | None, called: str | tuple[str, ...]) -> None:
        name, record = self.opened.job.people.get("tech", ""), self.record
        before = not any(c.kept.clip_kind != "quiet" for c in record.clips) or not record.calls
        self.write(call_event(self.round_id, called, name, before_numbers=before, sure=sure))

    @asks
    async def _two_paths(self, sure: float | None) -> None:
        if paths := await paths_asked(self, "Which paths do you hear?", self.view.walk.points):
            self._call(sure, paths)

    @asks
    async def action_skip(self) -> None:
        """Why is the present step left out?"""
        step = self.step()
        asked = step.id.startswith(ASKED)
        in_walk = step.kind == "clip" and not asked
        what = f"the {point_name(step.point)} in this walk" if in_walk else f"this step ({step.id})"
        sentence = f"Why is {'the clip the supervisor asks for' if asked else what} left out?"
        reasons = [(str(i), reason) for i, reason in enumerate(REASONS, 1)]
        more = [(WHOLE_WALK, "leave out the rest of this walk")] if in_walk else []
        options = [*reasons, (OWN_WORDS, "another reason, in your own words"), *more, (NO, "no, do not leave it out")]
        reason = await self.answer(PickScreen(sentence, options, keyed=True))
        if reason == OWN_WORDS:
            reason = await self.answer(OneLineScreen(sentence, most=200))
        if reason not in (None, NO) and self.write(left_out(step, self.round_id, dict(reasons).get(reason, reason))):
            self.change(plan=())


def left_out(step: Step, round_id: str, reason: str) -> Payload:
    """The event that leaves a step out."""
    if reason == WHOLE_WALK:
        return StepPassed(round_id=round_id, step=step.id, reason="walk left out")
    if step.kind == "clip" and not step.id.startswith(ASKED):
        return PointSkipped(round_id=round_id, point=step.point, reason=reason, walk=step.walk)
    return StepPassed(round_id=round_id, step=step.id, reason=reason)


def was_meant(
    doubts: tuple[tuple[str, Question], ...], values: Mapping[str, str]
) -> tuple[dict[str, str], list[tuple[str, str]]]:
    """What is suggested instead of doubted figures, by figure, and the answers to whether that was meant."""
    meant = {name: q.suggestion for name, q in doubts if q.suggestion}
    typed_ = ", ".join(values[name] for name, _ in doubts)
    yes = [(YES, f"yes, {', '.join(meant.values())} was meant")] if meant else []
    return meant, [*yes, (KEEP, f"keep {plain(typed_, 30)} as typed"), (NO, "type it again")]
