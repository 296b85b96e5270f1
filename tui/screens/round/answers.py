"""What is asked at a round's steps and between them, and what becomes of the answers."""

from collections.abc import Callable, Mapping
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
from tui.screens.round.now import NO, REASON, Asked
from tui.screens.round.taking import Taking
from tui.widgets.entries import EntryPanel
from tui.widgets.panels import Choice, ChoicePanel

LOOKED: dict[str, type[AirFollowed | BubblesLooked]] = {"bubbles": BubblesLooked, "followed": AirFollowed}
"""What is kept of something that was looked for."""
REASONS = ("cannot be reached", "not there on this engine", "too loud there at the moment", "no time", "already known")
OWN_WORDS, WHOLE_WALK = "own-words", "walk"


class Answering(Taking):
    """A bench that asks."""

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        self.warned = ""
        if self.now.asked is None:
            self._typed(event.values)
        elif reason := event.values[REASON.id].strip():
            self._answered(self.now.asked, reason)
        else:
            self.wrong("A word or two, please: it stands in the job beside what was done.")

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        about, choice = event.panel.about, event.choice
        if self.now.asked is not None:
            self._answered(self.now.asked, choice)
        elif about in LOOKED:
            self.write(LOOKED[about](round_id=self.round_id, seen=choice))
        elif about == "way":
            self.way_chosen(choice)
        elif choice == SEVERAL:
            ask_paths(self, "Which paths do you hear?", self.view.walk.points, partial(self._call, event.sure))
        else:
            self._call(event.sure, choice)

    def _answered(self, asked: Asked, answer: str) -> None:
        self.change(asked=None)
        if answer != NO:
            asked.then(answer)

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
        to_ask = tuple((name, q) for name, f in figures.items() for q in f.questions)
        kept = partial(self.write, *(f.event for f in figures.values()))
        if to_ask:
            self.change(asked=doubt(to_ask, values, self._typed, kept))
        else:
            kept()

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
        choices = (
            *(Choice(str(i), reason, reason) for i, reason in enumerate(REASONS, 1)),
            Choice("o", OWN_WORDS, "another reason, in your own words"),
            *([Choice("w", WHOLE_WALK, "leave out the rest of this walk")] if in_walk else []),
            Choice("n", NO, "no, do not leave it out"),
        )

        def skip(reason: str) -> None:
            if reason == OWN_WORDS:
                self.change(asked=Asked(sentence, skip, entries=(REASON,)))
            else:
                self.write(left_out(step, self.round_id, reason))
                self.change(plan=())

        self.change(asked=Asked(sentence, skip, choices))


def left_out(step: Step, round_id: str, reason: str) -> Payload:
    """The event that leaves a step out."""
    if reason == WHOLE_WALK:
        return StepPassed(round_id=round_id, step=step.id, reason="walk left out")
    if step.kind == "clip" and not step.id.startswith(ASKED):
        return PointSkipped(round_id=round_id, point=step.point, reason=reason, walk=step.walk)
    return StepPassed(round_id=round_id, step=step.id, reason=reason)


def doubt(
    questions: tuple[tuple[str, Question], ...],
    values: Mapping[str, str],
    take: Callable[[Mapping[str, str]], None],
    keep: Callable[[], object],
) -> Asked:
    """Was another figure meant? ``questions`` by figure; *yes* takes what is suggested, never what is doubted."""
    meant = {name: q.suggestion for name, q in questions if q.suggestion}
    doubted = ", ".join(values[name] for name, _ in questions)
    yes = [Choice("y", "meant", f"yes, {', '.join(meant.values())} was meant")] if meant else []
    no = (Choice("k", "keep", f"keep {plain(doubted, 30)} as typed"), Choice("n", NO, "type it again"))
    sentence = " ".join(q.text for _, q in questions)
    return Asked(sentence, lambda answer: take({**values, **meant}) if answer == "meant" else keep(), (*yes, *no))
