"""What becomes of an answer: events in the journal, the next question, or a clip."""

from collections.abc import Callable
from functools import partial

from listen.errors import HisswayError
from listen.jobs.events import AirFollowed, BubblesLooked, Payload
from listen.jobs.job import Job
from listen.jobs.typed import typed
from listen.jobs.walk import Step
from tui.screens.calls import SEVERAL, call_event
from tui.screens.round import questions
from tui.screens.round.bench import Bench
from tui.screens.round.now import Asked

LOOKED: dict[str, type[AirFollowed | BubblesLooked]] = {"bubbles": BubblesLooked, "followed": AirFollowed}
"""What is kept of something that was looked for."""


class Answers:
    def __init__(self, bench: Bench) -> None:
        self.bench = bench

    def entered(self, values: dict[str, str]) -> None:
        """Figures or words were typed."""
        if (asked := self.bench.now.asked) is None:
            self._typed(values)
        elif not (reason := values["reason"].strip()):
            self.bench.wrong("A word or two, please: it stands in the job beside what was done.")
        elif asked.about == "why":
            self._answer(questions.left_out(self._of(asked), self.bench.round_id, reason))
        else:
            self._touch(asked, questions.reason_note(self.bench.round_id, asked, reason))

    def _typed(self, values: dict[str, str]) -> None:
        """Figures came; a doubt is asked before they are kept."""
        job = self.bench.opened.job
        try:
            figures = {
                name: typed(name, text, job, self.bench.record.cylinder, self.bench.round_id)
                for name, text in values.items()
                if text or name != "restrictor"
            }
        except HisswayError as e:
            self.bench.wrong(str(e))
            return
        to_ask = tuple((name, q) for name, f in figures.items() for q in f.questions)
        kept = tuple(f.event for f in figures.values())
        if to_ask:
            self.bench.change(asked=questions.doubt(to_ask, values, kept))
        else:
            self.bench.write(*kept)

    def chosen(self, about: str, choice: str, sure: float | None) -> None:
        asked = self.bench.now.asked
        if asked is None and about in LOOKED:
            self.bench.write(LOOKED[about](round_id=self.bench.round_id, seen=choice))
        elif asked is None and about == "way":
            self.bench.way_chosen(choice)
        elif asked is None:
            self._call(choice, sure)
        elif choice == questions.NO:
            self.bench.change(asked=None)
        elif asked.about == "skip":
            self._skip(asked, choice)
        elif asked.about == "doubt" and choice == "meant":
            self.bench.change(asked=None)
            self._typed(dict(asked.values))
        elif asked.about == "leftover":
            self._leftover(asked, keep=choice == "keep")
        elif asked.about == "touch":
            self._touch(asked)
        else:
            self._answer(*asked.events)

    def _answer(self, *payloads: Payload) -> None:
        """The question is answered: these are its events."""
        self.bench.change(asked=None)
        self.bench.write(*payloads)

    @staticmethod
    def _of(asked: Asked) -> Step:
        assert asked.step is not None
        return asked.step

    def _skip(self, asked: Asked, choice: str) -> None:
        if choice == questions.OWN_WORDS:
            self.bench.change(asked=questions.in_own_words(asked))
        else:
            self._answer(questions.left_out(self._of(asked), self.bench.round_id, choice))
            self.bench.change(plan=())

    def _touch(self, asked: Asked, *note: Payload) -> None:
        """Change what is judged or signed, as was said."""
        self._answer(*asked.events, *note)
        if asked.step is not None:
            self.bench.take(asked.step, sure=True)

    def _call(self, choice: str, sure: float | None) -> None:
        def keep(called: str | tuple[str, ...]) -> None:
            name = self.bench.opened.job.people.get("tech", "")
            before = (
                not any(c.kept.clip_kind != "quiet" for c in self.bench.record.clips) or not self.bench.record.calls
            )
            self.bench.write(call_event(self.bench.round_id, called, name, before_numbers=before, sure=sure))

        if choice == SEVERAL:
            self.bench.ask_several(keep)
        else:
            keep(choice)

    def ask_for_leftovers(self) -> None:
        """Offer a take of this round that was cut short."""
        mine = next((p for p in self.bench.opened.partials() if p.round_id == self.bench.round_id), None)
        if mine is not None and not self.bench.now.busy:
            self.bench.change(asked=questions.leftover(mine))

    def _leftover(self, asked: Asked, *, keep: bool) -> None:
        assert asked.leftover is not None
        self.bench.change(asked=None)
        part, opened = asked.leftover, self.bench.opened
        work = partial(opened.keep, part, recovered=True) if keep else partial(opened.drop, part)
        self.bench.start_beside(partial(self._settled, work))

    async def _settled(self, work: Callable[[], Job]) -> None:
        """Keep or drop it beside the screen; then the next one is asked about."""
        try:
            await self.bench.bay.written(work)
        except HisswayError as e:
            self.bench.bay.tell(e, bad=True)
            return
        self.bench.show_changed_job()
        self.ask_for_leftovers()
