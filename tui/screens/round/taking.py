"""What begins, ends and follows a take: its cautions, the places of the microphones, and what a crash left over."""

from collections.abc import Callable
from functools import partial

from listen.errors import HisswayError
from listen.jobs.events import CautionAcknowledged
from listen.jobs.job import Job
from listen.jobs.walk import Step
from listen.jobs.ways import CAUTIONS
from listen.trade.cautions import cautions_for
from listen.voice.names import clip as clip_words
from listen.voice.names import point_name
from tui.screens.ask_before_change import write_asking
from tui.screens.base import asks
from tui.screens.cautions import CautionScreen
from tui.screens.channels.places import for_these
from tui.screens.channels.screen import ChannelsScreen
from tui.screens.dialog import PickScreen
from tui.screens.round.bench import Bench
from tui.screens.round.now import Outcome
from tui.screens.round.taker import Taker
from tui.screens.round.ways import Work, by_key, hands_free, one_point, one_walk

ONE_CHANNEL = "this input has one channel; choose one with several (m), or take rounds another way (w)."


class Taking(Bench):
    """A bench at which clips are taken."""

    taker: Taker
    _unasked = False
    """Whether a take that was cut short waits to be asked about, as another screen stands before this one."""

    def action_stop(self) -> None:
        self.taker.stop()

    def action_hands_free(self) -> None:
        """Be led by tones through what is left."""
        self._begin(hands_free, self.step())

    @asks
    async def take(self, step: Step) -> None:
        """Take what one key records; at a signed round only once the reason was given."""
        work = {"point": one_point, "walk": one_walk}.get(self.by_key(step), by_key)
        if not self.record.signed or await write_asking(self, [self.record], "A further clip"):
            await self._taken(work, step)

    @asks
    async def _begin(self, work: Work, step: Step) -> None:
        await self._taken(work, step)

    async def _taken(self, work: Work, step: Step) -> None:
        """Begin once the cautions before it were read, and every microphone has its place."""
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

    @asks
    async def ask_for_leftovers(self) -> None:
        """Offer a take of this round that was cut short; it is not put off, but until the round is seen again."""
        part = next((p for p in self.opened.partials() if p.round_id == self.round_id), None)
        self._unasked = part is not None and self.app.screen is not self
        if part is None or self.now.busy or self._unasked:
            return
        at, outcome = f"{point_name(part.point)}, {clip_words(part.clip_kind)}", self.now.outcome
        why = f"{outcome.sentence} " if outcome and outcome.lost else ""
        sentence = f"{why}A take was cut short ({at}); what had arrived is still there. What is to become of it?"
        options = [("k", f"keep it as this clip: {at}"), ("d", "drop it and record again")]
        if (answer := await self.answer(PickScreen(sentence, options, keyed=True))) is None:
            self.dismiss()
            return
        work = partial(self.opened.keep, part, recovered=True) if answer == "k" else partial(self.opened.drop, part)
        self.start(partial(self._settled, work))

    async def _settled(self, work: Callable[[], Job]) -> None:
        """Keep or drop it beside the screen; then the next one is asked about."""
        await self.bay.written(work)
        self.show_changed_job()
        self.ask_for_leftovers()
