"""Round: shows one frozen view of the round, and turns keys and answers into events and clips."""

from typing import ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.widget import Widget
from textual.widgets import ContentSwitcher

from listen.jobs.events import CautionAcknowledged, ClipTakenBack
from listen.jobs.job import Job
from listen.jobs.walk import Wish
from listen.jobs.ways import way_of
from listen.voice.names import point_name
from tui.screens.ask_before_change import rounds_touched, write_asking
from tui.screens.base import asks, made
from tui.screens.point_rows import neighbour_point
from tui.screens.round.asking import rests_on
from tui.screens.round.bringing_in import BringingIn
from tui.screens.round.taker import Taker
from tui.screens.round.view import CHOICES, FIGURES, GO, Answers, Cautions, Microphone, Panel, View
from tui.widgets.banner import Banner
from tui.widgets.ladder import Ladder
from tui.widgets.large import Countdown, Large
from tui.widgets.level_meter import LevelMeter
from tui.widgets.panels import CautionPanel, ChoicePanel

PANELS: dict[type[Panel], str] = {Microphone: "microphone", Cautions: "caution", Answers: "choice"}
"""What is shown in the middle, by its identifier."""
ONE_KEY = ("go", "back", "stop")
"""Actions that share their key with another: where they do nothing that one has it."""
TYPED = {f"go('{kind}')" for kind in FIGURES}
"""Where a digit begins a figure."""
ABOVE_LADDER, BESIDE_BANNER = 19, 12
"""Lines needed besides the rows of the ladder; and besides them and the banner, with the meter."""
MORE_WHERE_LARGE, MOST_A_ROW = 7, 4
"""Lines that the large letters take besides; lines of the ladder a point at most."""
LARGE_FROM = 40
"""Lines from which the next point and the countdown are large."""


class RoundScreen(BringingIn):
    """One round, drawn, and its keys."""

    SHOWS_NUMBERS = "round"
    CSS_PATH = "round.tcss"
    BINDINGS = [
        *(
            Binding("space,enter,pagedown", f"go('{what}')", words, key_display="Space", priority=True)
            for what, words in GO.items()
        ),
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

    _drawn: View | None = None

    def body(self) -> ComposeResult:
        yield Banner()
        yield Large()
        with ContentSwitcher(id="step-panel", initial="microphone"):
            with Vertical(id="microphone"):
                yield Countdown()
                yield LevelMeter()
            yield CautionPanel(id="caution")
            yield ChoicePanel(id="choice")
        yield Ladder()

    def on_mount(self) -> None:
        self.listen()
        self.taker = Taker(self)
        # Beside the screen: the disk may be slow, and the first step can be read meanwhile.
        self.start(self.to_bench)
        self.start(self.measured_before)
        # Started once the screen stands: it keeps neither the first picture nor the first clip waiting.
        self.call_after_refresh(self.bay.services.analyst)

    def on_unmount(self) -> None:
        """Let the microphone go, and another program record."""
        self.listener.close()
        if self.bay.open_job is not None:
            # After all that is on its way: until then nobody else may record here.
            self.bay.journal.hand_in(self.bay.open_job.leave_bench)

    def show_job(self, job: Job) -> None:
        self.draw_soon()

    def on_screen_resume(self) -> None:
        """Back from another screen: times or the round may have changed."""
        self.draw_soon()
        if self._unasked:
            self.ask_for_leftovers()

    def on_resize(self) -> None:
        self.draw_soon()

    def draw(self) -> None:
        """Put the view into the widgets, unless it is there already or another screen stands before this one."""
        if not self.is_attached or all(r.id != self.round_id for r in self.job.rounds):
            return
        shown = self.view
        if self.app.screen is self and shown is not self._drawn:
            self._drawn = shown
            ladder, banner = self.query_one(Ladder), self.query_one(Banner)
            banner.say = shown.say
            ladder.point_rows, ladder.current, ladder.display = shown.point_rows, shown.step.point, shown.ladder_shown
            large = self.size.height >= LARGE_FROM
            self.set_class(large, "-large")
            # Not of the screen: a class of its own would have every widget on it styled anew, twice a clip.
            ladder.set_class(isinstance(shown.panel, Microphone), "-recording")
            room = self.size.height - ABOVE_LADDER - large * MORE_WHERE_LARGE
            ladder.tall = min(max(room // max(len(shown.point_rows), 1), 1), MOST_A_ROW)
            meter, needed = self.query_one(LevelMeter), BESIDE_BANNER + len(shown.point_rows)
            meter.hush = shown.hush
            # A long verdict, or reason to record again, takes the meter's lines before those of the points.
            meter.display = self.now.busy or banner.lines(self.size.width) + needed <= self.size.height
            letters = self.query_one(Large)
            letters.left, letters.right = shown.large
            self._put_up(shown.panel)
            self.refresh_bindings()
            self.listen_at(shown.step)
        waiting = self.now.judging or self.now.checking or self.app.screen.is_modal
        if shown.step.kind == "verdict" and not waiting and self.now.tried != rests_on(shown.walk.record):
            self.judge()

    def _put_up(self, panel: Panel) -> None:
        """Show what the step asks for, and give it the keys; those of the microphone go to the ladder."""
        switcher, to = self.query_one(ContentSwitcher), PANELS[type(panel)]
        home: Widget = self.query_one(Ladder)
        turned = switcher.current != to
        if turned:
            switcher.current, switcher.styles.height = to, "1fr" if to == "caution" else "auto"
        match panel:
            case Microphone(idle):
                self.query_one(Countdown).idle = idle
            case Cautions(rows):
                home = cautions = self.query_one(CautionPanel)
                if turned:
                    cautions.show(rows)
            case Answers(choices, about, sure):
                home = asked = self.query_one(ChoicePanel)
                if turned or asked.about != about:
                    asked.show(choices, about, sure=sure)
        self.set_focus(home)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Only keys that do something now are offered; the help names all."""
        if action not in self.OWN or self.bay.job is None:
            return True
        does = (f"{action}('{parameters[0]}')" if action in ("go", "show") else action) in self.view.keys
        return does or (False if action in ONE_KEY else None)

    def take_key(self, event: events.Key) -> bool:
        """Act on a key at once, so that several sent in one burst act in their order."""
        self.draw()
        if (event.character or "").isdecimal() and self.view.keys & TYPED:
            self.figures(event.character or "")
            return True
        if super().take_key(event):
            return True
        # A walk that goes on by itself is stopped by any letter; Space may only have come late.
        stops = self.now.led and event.is_printable and event.character not in (" ", "?")
        if stops:
            self.taker.stop()
        return stops

    def action_go(self, what: str) -> None:
        """The one key: record, be there already, read on, acknowledge, judge again, or look at the verdict."""
        step = self.step()
        if what == "there":
            self.taker.there()
        elif what == "clip":
            self.take(step)
        elif what == "caution" and not self.query_one(CautionPanel).page():
            self.write(CautionAcknowledged(caution=step.id, round_id=self.round_id))
        elif what in FIGURES:
            self.figures()
        elif what == "verdict":
            self.judge()
        elif what == "done":
            self.action_verdict()

    @asks
    async def action_other_way(self) -> None:
        ways = {c.key: c for c in CHOICES["way"]}
        here = next(key for key, c in ways.items() if c.id == way_of(self.job.way).id)
        options = [(key, c.words, c.more) for key, c in ways.items()]
        if key := await self.pick("How are rounds taken?", options, here, keyed=True):
            self.way_chosen(ways[key].id)

    def action_back(self) -> None:
        """Take back what was chosen; else leave the round as it is."""
        if self.now.plan:
            self.change(plan=())
        else:
            super().action_back()

    @asks
    async def action_take_back(self) -> None:
        """Take back the last clip: of the chosen point, else of the round. What was judged or signed is asked about."""
        last = self.record.live_clips(self.now.plan[0].point if self.now.plan else None)[-1]
        where = f"{point_name(last.kept.point)}, {last.kept.walk} walk"
        touched, event = rounds_touched(self.job, self.round_id, None), ClipTakenBack(clip=last.id, reason="taken back")
        if await write_asking(self, touched, f"Taking back the clip: {where}", event):
            self.change(outcome=None)
            self.tell(f"Taken back: {where}. It stays on disk.")

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
        if self.record.verdict is not None:
            self.app.push_screen(made("verdict", self.round_id), lambda plan: self.change(plan=plan or (), tried=()))

    def action_microphone(self) -> None:
        """Check the microphone: this screen lets go of it meanwhile."""
        self.listener.close()
        self.app.push_screen(made("microphone"), lambda _: self.listen())

    def action_note(self) -> None:
        """A note on the clip just taken, else on the round."""
        last = self.now.outcome.clip if self.now.outcome else ""
        kept = next((c.kept for c in self.record.clips if c.id == last), None)
        self.write_note("this round", self.record.cylinder, self.round_id, kept)
