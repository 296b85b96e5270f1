"""What a round asks at its steps and between them, and what begins, ends and follows a take."""

from collections.abc import Callable
from functools import partial

from textual import on

from listen.errors import HisswayError
from listen.jobs.decision import ASKED
from listen.jobs.event_words import REST
from listen.jobs.events import (
    AirFollowed,
    BubblesLooked,
    ByEarCalled,
    CautionAcknowledged,
    Payload,
    PointSkipped,
    StepPassed,
)
from listen.jobs.job import Job, RoundRecord
from listen.jobs.reference import engine_said, why_no_reference
from listen.jobs.teardowns import with_teardowns
from listen.jobs.to_round import clips_used, judged, to_round
from listen.jobs.walk import Step
from listen.jobs.ways import CAUTIONS, SWITCHED
from listen.trade.cautions import cautions_for
from listen.voice.names import clip as clip_words
from listen.voice.names import point_name
from tui.bridge.threads import in_thread
from tui.screens.ask_before_change import write_asking
from tui.screens.base import asks, in_background
from tui.screens.calls import answered, said
from tui.screens.cautions import CautionScreen
from tui.screens.channels import ChannelsScreen, for_these
from tui.screens.dialog import OneLineScreen
from tui.screens.figures import figure_asked
from tui.screens.round.bench import Bench
from tui.screens.round.now import Outcome
from tui.screens.round.taker import Taker
from tui.screens.round.view import figures_of
from tui.screens.round.ways import Work, by_key, hands_free, one_point, one_walk
from tui.widgets.panels import ChoicePanel

ONE_CHANNEL = "this input has one channel; choose one with several (m), or take rounds another way (w)."
READ_ONLY = "the job is open to read only, nothing is recorded; see why when it is opened from the list of jobs."
LOOKED: dict[str, type[AirFollowed | BubblesLooked]] = {"bubbles": BubblesLooked, "followed": AirFollowed}
"""What is kept of something that was looked for."""
MAY_BE_UNKNOWN = ("restrictor",)
"""Figures that a step goes on without."""
REASONS = ("cannot be reached", "not there on this engine", "too loud there at the moment", "no time", "already known")
NO, OWN_WORDS, WHOLE_WALK = "n", "o", "w"
"""Answers, each its own key."""


class Asking(Bench):
    """A bench at which clips are taken, and which asks."""

    taker: Taker
    _unasked = False
    """Whether a take that was cut short waits to be asked about, as another screen stands before this one."""

    def action_stop(self) -> None:
        self.taker.stop()

    def action_hands_free(self) -> None:
        self.take(self.step(), hands_free)

    @asks
    async def take(self, step: Step, work: Work | None = None) -> None:
        """Take what one key records (or what ``work`` does): at a signed round once the reason was given, and always
        once the cautions before it were read and every microphone has its place."""
        if not self.opened.writable:
            self.change(outcome=Outcome(False, READ_ONLY, lead="Not here"))
            return
        work = work or {"point": one_point, "walk": one_walk}.get(self.by_key(step), by_key)
        if self.record.signed and not await write_asking(self, [self.record], "A further clip"):
            return
        caution = CAUTIONS.get(step.walk)
        if caution and caution not in self.record.cautions:
            screen = CautionScreen(cautions_for(caution), "Before air is switched: read these")
            read = await self.answer(screen) is not None
            if not (read and self.write(CautionAcknowledged(caution=caution, round_id=self.round_id))):
                return
        kept = self.bay.preferences.channels.get(self.listener.name, ())
        if self.by_key(step) == "all" and not for_these(kept, self.points()) and not await self._channels_given():
            return
        self.change(led=work is not by_key, taking=step, outcome=None)
        self.start(partial(self._run, work, step))

    async def _run(self, work: Work, step: Step) -> None:
        await work(self.taker, step)
        self.ask_for_leftovers()

    async def measured_before(self) -> None:
        """What was measured of a round before it was left: a figure so far is there again."""
        airs = {c.kept.point: c for c in self.record.live_clips() if c.kept.walk in ("air", SWITCHED)}
        for at, clip in airs.items() if self.record.verdict is None else ():
            check = await self.taker.check(at, clip.kept.walk, clip.id)
            if check is not None and at not in self.now.excess:
                self.change(excess={**self.now.excess, at: check.excess_db})

    def judge(self) -> None:
        self.change(judging=True, tried=rests_on(self.record))
        self._judged()

    @in_background("judge")
    async def _judged(self) -> None:
        try:
            job = self.opened.job
            own = to_round(job, self.round_id, self.opened.folder)
            round_ = await in_thread(with_teardowns, own, job, self.opened.folder.parent)
            result = await self.bay.services.evaluate(round_)
            self.change(outcome=None)
            event = judged(job, self.round_id, result)
            now = await in_thread(self.opened.catch_up)
            # something came in meanwhile: a clip, or a result of another cylinder
            if clips_used(now, self.round_id) != event.clips or engine_said(now, self.round_id) != round_.engine:
                self.change(tried=())
                return
            self.write(event)
        except HisswayError as e:
            self.change(outcome=Outcome(False, f"{e} Space tries again.", lead="Not judged"))
        finally:
            self.change(judging=False)

    async def _channels_given(self) -> bool:
        if self.listener.channels < 2:
            self.change(outcome=Outcome(False, ONE_CHANNEL, lead="Not yet"))
            return False
        if places := await self.answer(ChannelsScreen(self.listener, self.points())):
            prefs, name = self.bay.preferences, self.listener.name
            prints = {k: v for k, v in prefs.prints.items() if k != name}  # they were of other places
            self.bay.prefer(channels={**prefs.channels, name: places}, prints=prints)
        return bool(places)

    async def to_bench(self) -> None:
        """Be the one who records here, and ask about what was left over."""
        try:
            await self.bay.written(self.opened.to_bench)
        except HisswayError as e:
            self.tell(e, bad=True)
        self.ask_for_leftovers()

    @in_background("left over")
    async def ask_for_leftovers(self) -> None:
        """Offer a take of this round that was cut short; it is not put off, but until the round is seen again."""
        part = next((p for p in self.opened.partials() if p.round_id == self.round_id), None)
        self._unasked = part is not None and self.app.screen is not self
        if part is None or self.now.busy or self._unasked:
            return
        at, outcome = f"{point_name(part.point)}, {clip_words(part.clip_kind)}", self.now.outcome
        why = f"{outcome.sentence.rstrip('.')}. " if outcome and not outcome.kept else ""
        sentence = f"{why}A take was cut short ({at}); what had arrived is still there. What is to become of it?"
        options = [("k", f"keep it as this clip: {at}"), ("d", "drop it and record again")]
        if (answer := await self.pick(sentence, options, keyed=True)) is None:
            self.dismiss()
            return
        work = partial(self.opened.keep, part, recovered=True) if answer == "k" else partial(self.opened.drop, part)
        self._settled(work)

    @in_background("")
    async def _settled(self, work: Callable[[], Job]) -> None:
        """Keep or drop it beside the screen; then the next one is asked about."""
        await self.bay.written(work)
        self.ask_for_leftovers()

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        about, choice = event.panel.about, event.choice
        if about in LOOKED:
            self.write_answer(LOOKED[about](round_id=self.round_id, seen=choice))
        elif about == "way":
            self.way_chosen(choice)
        else:
            self._call(choice, event.sure)

    @asks
    async def figures(self, begun: str = "") -> None:
        """The figures of the present step, one after the other; ``begun`` is typed already."""
        read = []
        for reading, title in figures_of(self.step(), self.job):
            figure = await figure_asked(self, title, reading, self.record.cylinder, self.round_id, begun=begun)
            if figure is None and reading not in MAY_BE_UNKNOWN:
                return
            read += [figure] if figure else []
            begun = ""
        self.write_answer(*read)

    @asks
    async def _call(self, choice: str, sure: float | None) -> None:
        if called := await answered(self, choice, self.view.walk.points):
            name, before = self.opened.job.people.get("tech", ""), not self.record.numbers_shown
            event = ByEarCalled(round_id=self.round_id, name=name, before_numbers=before, **said(called, sure))
            self.write_answer(event)

    @asks
    async def action_skip(self) -> None:
        step = self.step()
        asked = step.id.startswith(ASKED)
        in_walk = step.kind == "clip" and not asked
        what = f"the {point_name(step.point)} in this walk" if in_walk else f"this step ({step.id})"
        sentence = f"Why is {'the clip the supervisor asks for' if asked else what} left out?"
        reasons = [(str(i), reason) for i, reason in enumerate(REASONS, 1)]
        more = [(WHOLE_WALK, "leave out the rest of this walk")] if in_walk else []
        options = [*reasons, (OWN_WORDS, "another reason, in your own words"), *more, (NO, "no, do not leave it out")]
        reason = await self.pick(sentence, options, keyed=True)
        if reason == OWN_WORDS:
            reason = await self.answer(OneLineScreen(sentence, most=200))
        if reason not in (None, NO) and self.write_answer(
            left_out(step, self.round_id, dict(reasons).get(reason, reason))
        ):
            self.change(plan=())


def rests_on(record: RoundRecord) -> tuple[str, ...]:
    """What a result would rest on: it is not tried twice on the same."""
    return (why_no_reference(record), *(c.id for c in record.live_clips()))


def left_out(step: Step, round_id: str, reason: str) -> Payload:
    """The event that leaves a step out."""
    if reason == WHOLE_WALK:
        return StepPassed(round_id=round_id, step=step.id, reason=REST)
    if step.kind == "clip" and not step.id.startswith(ASKED):
        return PointSkipped(round_id=round_id, point=step.point, reason=reason, walk=step.walk)
    return StepPassed(round_id=round_id, step=step.id, reason=reason)
