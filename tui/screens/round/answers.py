"""What is asked at a round's steps and between them, and what becomes of the answers."""

from collections.abc import Mapping
from functools import partial

from textual import on

from listen.errors import HisswayError
from listen.jobs.answers import typed
from listen.jobs.decision import ASKED
from listen.jobs.events import AirFollowed, BubblesLooked, Payload, PointSkipped, StepPassed
from listen.jobs.walk import Step
from listen.trade.readings import Question
from listen.voice.names import point_name
from listen.voice.text import plain
from tui.screens.calls import SEVERAL, ask_paths, call_event
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
            ask_paths(self, "Which paths do you hear?", self.view.walk.points, partial(self._call, event.sure))
        else:
            self._call(event.sure, choice)

    def _typed(self, values: Mapping[str, str]) -> None:
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
        keep = partial(self.write, *(f.event for f in figures.values()))
        if not doubts:
            keep()
            return
        meant, answers = was_meant(doubts, values)

        def answered(answer: str) -> None:
            if answer == NO:
                self.query_one(EntryPanel).clear()
                self.change()
            elif answer == KEEP:
                keep()
            else:
                self._typed({**values, **meant})

        self.ask(PickScreen(" ".join(q.text for _, q in doubts), answers, keyed=True), answered)

    def _call(self, sure: float | None, called: str | tuple[str, ...]) -> None:
        name, record = self.opened.job.people.get("tech", ""), self.record
        before = not any(c.kept.clip_kind != "quiet" for c in record.clips) or not record.calls
        self.write(call_event(self.round_id, called, name, before_numbers=before, sure=sure))

    def action_skip(self) -> None:
        """Why is the present step left out?"""
        step = self.step()
        asked = step.id.startswith(ASKED)
        in_walk = step.kind == "clip" and not asked
        what = f"the {point_name(step.point)} in this walk" if in_walk else f"this step ({step.id})"
        sentence = f"Why is {'the clip the supervisor asks for' if asked else what} left out?"
        reasons = [(str(i), reason) for i, reason in enumerate(REASONS, 1)]
        more = [(WHOLE_WALK, "leave out the rest of this walk")] if in_walk else []
        no = (NO, "no, do not leave it out")

        def skip(reason: str) -> None:
            if self.write(left_out(step, self.round_id, reason)):
                self.change(plan=())

        def answered(answer: str) -> None:
            if answer == OWN_WORDS:
                self.ask(OneLineScreen(sentence, most=200), skip)
            elif answer != NO:
                skip(dict(reasons).get(answer, answer))

        options = [*reasons, (OWN_WORDS, "another reason, in your own words"), *more, no]
        self.ask(PickScreen(sentence, options, keyed=True), answered)


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
