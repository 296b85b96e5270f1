"""Round: shows one frozen view of the round, and turns keys and answers into events and clips."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from operator import is_not
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding

from listen.errors import HisswayError
from listen.jobs.events import CautionAcknowledged, ClipTakenBack, Payload, WayChosen
from listen.jobs.walk import Step, Wish
from listen.jobs.ways import CAUTIONS, SWITCHED, WAYS, way_of
from listen.trade.cautions import cautions_for
from listen.voice.names import point_name
from tui.bridge.listener import Listener
from tui.bridge.threads import in_thread
from tui.screens.base import BayScreen
from tui.screens.calls import ask_paths
from tui.screens.cautions import CautionScreen
from tui.screens.channels.places import for_these
from tui.screens.channels.screen import ChannelsScreen
from tui.screens.dialog import OneLineScreen, PickScreen
from tui.screens.photos.screen import file_named
from tui.screens.point_rows import neighbour_point
from tui.screens.round import questions, results
from tui.screens.round.answers import Answers
from tui.screens.round.microphones import microphones
from tui.screens.round.now import Now, Outcome
from tui.screens.round.step_panel import StepPanel
from tui.screens.round.taker import Taker
from tui.screens.round.view import GO, Microphone, View, key_takes, view
from tui.screens.round.ways import Work, by_key, hands_free, one_point, one_walk
from tui.widgets.banner import Banner
from tui.widgets.countdown import Count, Countdown
from tui.widgets.ladder import Ladder
from tui.widgets.large import Large
from tui.widgets.level_meter import LevelMeter
from tui.widgets.panels import CautionPanel, ChoicePanel, EntryPanel

if TYPE_CHECKING:
    from listen.jobs.folder.open_job import OpenJob
    from listen.jobs.job import Job
    from listen.jobs.naming import Recording

ONE_KEY = ("go", "back", "stop")
"""Actions that share their key with another: where they do nothing that one has it."""
METER_PERIOD_S = 1 / 25
ABOVE_LADDER = 19
"""Lines needed besides the rows of the ladder."""
MORE_WHERE_LARGE, MOST_A_ROW = 7, 4
"""Lines that the large letters take besides; lines of the ladder a point at most."""
ONE_CHANNEL = "this input has one channel; choose one with several (m), or take rounds another way (w)."
ABOUT_IMPORT = (
    "A folder of recordings from a phone or a field recorder, or one file. Whatever the files are called: they are "
    "listed in order of time, and you say by keys which is which, hearing each; one long recording is cut at marks. "
    "One short file is the clip that is due; files named by point and kind (intake-quiet-1.wav, intake-air-1.wav, "
    "intake-quiet-2.wav) come in at once."
)
LARGE_FROM = 40
"""Lines from which the next point and the countdown are large."""


class RoundScreen(BayScreen[None]):
    """One round; everything it shows follows from the job and from :class:`Now`."""

    SHOWS_NUMBERS = "round"
    CSS_PATH = "round.tcss"
    BINDINGS = [
        *(Binding("space,enter,pagedown", f"go('{what}')", words, key_display="Space") for what, words in GO.items()),
        Binding("backspace", "take_back", "Take back", key_display="Bksp"),
        Binding("s,ctrl+s", "skip", "Skip"),
        Binding("h", "hands_free", "Hands-free"),
        Binding("w", "other_way", "Way"),
        Binding("up", "other_point(-1)", "Other point", show=False),
        Binding("down", "other_point(1)", "Other point", show=False),
        Binding("e", "evidence", "Evidence"),
        Binding("v", "verdict", "Verdict"),
        Binding("t", "show('times')", "Times"),
        Binding("a", "show('cautions')", "Cautions"),
        Binding("m", "microphone", "Microphone"),
        Binding("i", "bring_in", "Import"),
        Binding("n", "note", "Note"),
        Binding("escape,q", "back", "Back", key_display="Esc"),
        Binding("escape,q,backspace", "stop", "Stop", key_display="Esc"),
    ]
    OWN: ClassVar[frozenset[str]] = frozenset(b.action.partition("(")[0] for b in BINDINGS if isinstance(b, Binding))
    """Actions whose keys come and go; all others are always there."""

    def __init__(self, round_id: str) -> None:
        super().__init__()
        self.round_id = round_id
        self.now = Now()
        self._made: tuple[Any, int, View] | None = None
        self._drawn: Any = None
        self._listening_at = ("", "")
        self._warned = ""
        """What was typed when leaving a question was asked about."""

    def body(self) -> ComposeResult:
        yield Banner()
        yield Large()
        yield StepPanel()
        yield Ladder()

    def on_mount(self) -> None:
        """Open the microphone, and ask about what was left over."""
        self._listen()
        self.taker, self.answers = Taker(self), Answers(self)
        super().on_mount()
        self.start_beside(self._to_bench)
        self.set_interval(METER_PERIOD_S, self._meter)
        self.call_after_refresh(self.bay.services.warm)

    async def _to_bench(self) -> None:
        """Be the one who records here, and ask about what was left over."""
        try:
            await self.bay.written(self.opened.to_bench)
        except HisswayError as e:
            self.tell(e, bad=True)
        self.answers.ask_for_leftovers()

    def on_unmount(self) -> None:
        """Let the microphone go, and another program record."""
        self.listener.close()
        if self.bay.open_job is not None:
            self.bay.later(self.bay.open_job.leave_bench)

    # ------------------------------------------------------------------ what workers may ask

    @property
    def opened(self) -> OpenJob:
        """The job on disk."""
        assert self.bay.open_job is not None
        return self.bay.open_job

    def step(self) -> Step:
        """What is under way, chosen or due."""
        return self.view.step

    def change(self, **changes: Any) -> None:
        """Replace fields of what is known beside the job, and show it."""
        self.now = replace(self.now, **changes)
        self._changed()

    def show_changed_job(self) -> None:
        """The job was changed in another thread: show it as it is."""
        if self.bay.open_job is not None:
            self.bay.job = self.bay.open_job.job

    def write(self, *payloads: Payload) -> bool:
        """Put events into the journal; what the disk refuses is said, and nothing has changed."""
        try:
            self.bay.write(*payloads)
        except HisswayError as e:
            self.change(outcome=Outcome(False, str(e), lead="Not written"))
            return False
        return True

    def count(self, count: Count | None) -> None:
        """Show the countdown of what is under way."""
        if self.is_attached:
            self.query_one(Countdown).count = count

    # ------------------------------------------------------------------ showing

    @property
    def view(self) -> View:
        """The view of the job and of now: made once, however often it is asked for."""
        job, prefs = self.bay.job, self.bay.preferences
        assert job is not None
        of, lines = (job, self.now, prefs), self.size.height
        if self._made is None or lines != self._made[1] or any(map(is_not, of, self._made[0])):
            gauge = self.bay.services.gauge(job.round(self.round_id).cylinder)
            self._made = of, lines, view(job, self.round_id, self.now, prefs, lines, gauge)
        return self._made[2]

    def show_job(self, job: Job) -> None:
        self._changed()

    def on_screen_resume(self) -> None:
        """Back from another screen: times or the round may have changed."""
        self._changed()

    def on_resize(self) -> None:
        self._changed()

    def _changed(self) -> None:
        """Draw once, however much has changed until then."""
        if self.is_attached:
            self.call_later(self._draw)

    def _draw(self) -> None:
        """Put the view into the widgets, unless it is there already or another screen stands before this one."""
        job = self.bay.job
        if not self.is_attached or job is None or all(r.id != self.round_id for r in job.rounds):
            return
        shown = self.view
        if self.app.screen is self and shown is not self._drawn:
            self._drawn = shown
            ladder, banner = self.query_one(Ladder), self.query_one(Banner)
            banner.say = shown.say
            ladder.point_rows, ladder.current, ladder.display = shown.point_rows, shown.step.point, shown.ladder_shown
            large = self.size.height >= LARGE_FROM
            self.set_class(large, "-large")
            self.set_class(isinstance(shown.panel, Microphone), "-recording")
            room = self.size.height - ABOVE_LADDER - large * MORE_WHERE_LARGE
            ladder.tall = min(max(room // max(len(shown.point_rows), 1), 1), MOST_A_ROW)
            self.query_one(LevelMeter).hush = shown.hush
            letters = self.query_one(Large)
            letters.left, letters.right = shown.large
            self.query_one(StepPanel).show(shown.panel, ladder)
            self.refresh_bindings()
            self._listen_at(shown.step)
        waiting = self.now.judging or self.now.checking or self.now.asked
        if shown.step.kind == "verdict" and not waiting and self.now.tried != results.rests_on(shown.walk.record):
            self._judge()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Only keys that do something now are offered; the help names all."""
        if action not in self.OWN or self.bay.job is None:
            return True
        does = (f"{action}('{parameters[0]}')" if action in ("go", "show") else action) in self.view.keys
        return does or (False if action in ONE_KEY else None)

    def _listen_at(self, step: Step) -> None:
        """Aim a simulated microphone, and compare the live level with this point's quiet clip."""
        at = (step.point, step.walk) if step.kind == "clip" else ("", "")
        if at == self._listening_at:
            return
        self._listening_at = at
        if step.kind == "clip":
            self.listener.hold_at(microphones(self, step), step.clip_kind)
        self.start(partial(self._compare, step), "quiet")

    async def _compare(self, step: Step) -> None:
        quiets = self.record.live_clips(step.point, "quiet") if step.kind == "clip" and step.walk != "quiet" else ()
        self.listener.compare_with(None)
        if quiets and (spectrum := await results.quiet_of(self, quiets[-1].id)) is not None:
            self.listener.compare_with(spectrum)

    def _meter(self) -> None:
        if self.app.screen is self:
            meter = self.query_one(LevelMeter)
            meter.silent, meter.reading = self.listener.trouble, self.listener.reading

    # ------------------------------------------------------------------ keys

    def take_key(self, event: events.Key) -> bool:
        """Act on a key at once, so that several sent in one burst act in their order."""
        self._draw()
        return super().take_key(event) or self._stopped_by(event)

    def _stopped_by(self, event: events.Key) -> bool:
        """A walk that goes on by itself is stopped by any letter; Space may only have come late."""
        stops = self.now.led and event.is_printable and event.character not in (" ", "?")
        if stops:
            self.taker.stop()
        return stops

    def under_way(self) -> str:
        return "a clip is being taken, Esc stops it" if self.now.busy else ""

    def action_go(self, what: str) -> None:
        """The one key: record, be there already, read on, acknowledge, judge again, or look at the verdict."""
        step = self.step()
        if what == "there":
            self.taker.there()
        elif what == "clip":
            self.take(step)
        elif what == "caution" and not self.query_one(CautionPanel).page():
            self.write(CautionAcknowledged(caution=step.id, round_id=self.round_id))
        elif what == "verdict":
            self._judge()
        elif what == "done":
            self.action_verdict()

    def action_stop(self) -> None:
        self.taker.stop()

    def take(self, step: Step, *, sure: bool = False) -> None:
        """Take what one key records; at a signed round only once the reason was given (``sure``)."""
        if self.record.signed and not sure:
            self.change(asked=questions.before_touching(self.record, "A further clip", (), step))
        else:
            self._begin({"point": one_point, "walk": one_walk}.get(self._by_key(step), by_key), step)

    def action_hands_free(self) -> None:
        """Be led by tones through what is left."""
        self._begin(hands_free, self.step())

    def _by_key(self, step: Step) -> str:
        return key_takes(self.opened.job, step, self.now, self.bay.preferences)

    def _begin(self, work: Work, step: Step) -> None:
        """Begin once the cautions before it were read, and every microphone has its place."""
        kept = self.bay.preferences.channels.get(self.listener.name, ())
        if step.walk in CAUTIONS and CAUTIONS[step.walk] not in self.record.cautions:
            self._caution(work, step)
        elif self._by_key(step) == "all" and not for_these(kept, self.points()):
            self._ask_channels(work, step)
        else:
            self.change(led=work is not by_key, taking=step, outcome=None)
            self.start_beside(partial(self._run, work, step))

    def _ask_channels(self, work: Work, step: Step) -> None:
        if self.listener.channels < 2:
            self.change(outcome=Outcome(False, ONE_CHANNEL, lead="Not yet"))
            return

        def given(places: tuple[str, ...]) -> None:
            if places:
                prefs, name = self.bay.preferences, self.listener.name
                prints = {k: v for k, v in prefs.prints.items() if k != name}  # they were of other places
                self.bay.prefer(channels={**prefs.channels, name: places}, prints=prints)
                self._begin(work, step)

        self.ask(ChannelsScreen(self.listener, self.points()), given)

    def action_other_way(self) -> None:
        """How rounds are taken from now on."""
        job = self.bay.job
        assert job is not None
        options = [(way.id, way.words, way.suits) for way in WAYS.values()]
        self.ask(PickScreen("How are rounds taken?", options, way_of(job.way).id), self.way_chosen)

    def way_chosen(self, way: str) -> None:
        """How rounds are taken from now on; the input is opened anew for what it asks."""
        if self.write(WayChosen(way=way)):
            self.change(plan=(), outcome=None)
            self.listener.close()
            self._listen()

    def points(self) -> tuple[str, ...]:
        """Points of the round, in walking order."""
        return tuple(p.id for p in self.view.walk.points)

    def due_takes(self) -> tuple[Step, ...]:
        """Switched takes that are due, and the one wished for."""
        wished = {w.point for w in self.now.plan}
        return tuple(s for s in self.view.walk.steps if s.walk == SWITCHED and (s.state == "due" or s.point in wished))

    def _caution(self, work: Work, step: Step) -> None:
        """What stands before the first clip of a walk, until it was read; then it begins."""
        name = CAUTIONS[step.walk]

        def read(_: str) -> None:
            if self.write(CautionAcknowledged(caution=name, round_id=self.round_id)):
                self._begin(work, step)

        self.ask(CautionScreen(cautions_for(name), "Before air is switched: read these"), read)

    async def _run(self, work: Work, step: Step) -> None:
        await work(self.taker, step)
        self.answers.ask_for_leftovers()

    def _judge(self) -> None:
        self.change(judging=True, tried=results.rests_on(self.record))
        self.start(partial(results.judge, self), "judge")

    def action_back(self) -> None:
        """Take the question back; else what was chosen; else leave the round as it is. A reason typed is asked for."""
        if self.now.asked is not None and self.now.asked.leftover is None:
            typed = self.query_one(EntryPanel).typed if self.now.asked.entries else ""
            self._warned, again = typed, typed == self._warned
            if again or not typed:
                self._warned = ""
                self.change(asked=None)
            else:
                self.wrong("Enter keeps what was typed, Esc again drops it")
        elif self.now.plan:
            self.change(plan=())
        else:
            super().action_back()

    def action_take_back(self) -> None:
        """Take back the last clip: of the chosen point, else of the round. What was judged or signed is asked about."""
        clips = self.record.live_clips(self.now.plan[0].point if self.now.plan else None)
        last, record = clips[-1], self.record
        what = f"Taking back the clip at the {point_name(last.kept.point)} ({last.kept.walk} walk)"
        event = ClipTakenBack(clip=last.id, reason="taken back")
        if record.signed or (record.verdict is not None and not record.stale):
            self.change(asked=questions.before_touching(record, what, (event,)))
        elif self.write(event):
            self.change(outcome=None)
            self.tell(f"Taken back: {point_name(last.kept.point)}, {last.kept.walk} walk. It stays on disk.")

    def action_skip(self) -> None:
        self.change(asked=questions.why_skip(self.step()))

    def action_other_point(self, by: int) -> None:
        self.change(plan=(Wish(neighbour_point(self.points(), self.step().point, by)),))

    @on(Ladder.Chosen)
    def _point_clicked(self, event: Ladder.Chosen) -> None:
        if "other_point" in self.view.keys:
            self.change(plan=(Wish(event.point),))

    def action_evidence(self) -> None:
        point = self.step().point or self.record.live_clips()[0].kept.point
        self.show("evidence", self.round_id, point)

    def action_verdict(self) -> None:
        from tui.screens.verdict.screen import VerdictScreen

        if self.record.verdict is not None:
            self.app.push_screen(VerdictScreen(self.round_id), lambda plan: self.change(plan=plan or ()))

    def action_microphone(self) -> None:
        """Check the microphone: this screen lets go of it meanwhile."""
        from tui.screens.microphone.screen import MicrophoneScreen

        self.listener.close()
        self.app.push_screen(MicrophoneScreen(), lambda _: self._listen())

    def action_note(self) -> None:
        """A note on the clip just taken, else on the round."""
        last = self.now.outcome.clip if self.now.outcome else ""
        kept = next((c.kept for c in self.record.clips if c.id == last), None)
        self.write_note("this round", self.record.cylinder, self.round_id, kept)

    def _listen(self) -> None:
        """Open the microphone; the screen is there meanwhile."""
        cylinder, name, services = self.record.cylinder, self.bay.preferences.input_name, self.bay.services
        every = self.bay.job is not None and way_of(self.bay.job.way).by_key == "all"
        self.listener = Listener(lambda: services.source(cylinder, name, every=every), every=every)
        self.listener.start()
        self._listening_at = ("", "")
        self._changed()

    def action_bring_in(self) -> None:
        hint = "folder or file, for example ~/recordings/cylinder-3"
        title = "Import clips recorded elsewhere"
        dialog = OneLineScreen(title, how=ABOUT_IMPORT, hint=hint, most=4000, take=_is_there)
        self.ask(dialog, lambda name: self.start(partial(self._bring, file_named(name)), "clip"))

    async def _bring(self, place: Path) -> None:
        """Bring in what is named by its files' names; the rest is named in a list first."""
        from listen.jobs.naming import as_due, recordings_in
        from tui.screens.naming.screen import NamingScreen

        def named(recordings: tuple[Recording, ...]) -> None:
            self.start(partial(results.bring_in, self, self.taker, place, recordings), "clip")

        try:
            found = await in_thread(recordings_in, place)
        except HisswayError as e:
            self.change(outcome=Outcome(False, str(e), lead="Not imported"))
            return
        step, points = self.step(), self.view.walk.points
        due = (step.point, step.walk) if step.kind == "clip" else ("", "")
        if found.named or (one := as_due(found, [p.id for p in points], due)):
            await results.bring_in(self, self.taker, place, () if found.named else one)
        else:
            self.ask(NamingScreen(found, points, step), named)

    # ------------------------------------------------------------------ answers

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        self._warned = ""
        self.answers.entered(event.values)

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        self.answers.chosen(event.panel.about, event.choice, event.sure)

    def wrong(self, text: str) -> None:
        """Say what is wrong with what was typed."""
        self.query_one(StepPanel).wrong(text)

    def ask_several(self, keep: Callable[[tuple[str, ...]], None]) -> None:
        """Ask which paths are heard."""
        ask_paths(self, "Which paths do you hear?", self.view.walk.points, keep)


def _is_there(name: str) -> None:
    if not file_named(name).exists():
        raise HisswayError("Nothing is there; check the name.")
