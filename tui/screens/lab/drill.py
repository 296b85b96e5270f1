"""A drill: hear a round, call it by ear, call it again with the readings, see the truth and hear it once more."""

import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import ClassVar

from textual import on
from textual.binding import Binding

from listen.errors import AudioError
from listen.lab.training.book import Answer, Call
from listen.lab.training.held import Held
from listen.lab.training.session import Session
from listen.signal.clip import Clip
from listen.signal.exhibit import exhibit
from listen.trade.points import point
from tui.bridge.playback import levelled
from tui.bridge.threads import in_thread
from tui.screens.base import asks, in_background
from tui.screens.dialog import TickScreen
from tui.screens.evidence.look import side_by_side
from tui.screens.hearing import HearingScreen
from tui.screens.lab import drill_words as words
from tui.screens.point_rows import judged
from tui.widgets.banner import Banner, Say
from tui.widgets.heat import Heat
from tui.widgets.ladder import Ladder, PointRow
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import ChoicePanel
from tui.widgets.plots import SpectraPlot


class DrillScreen(HearingScreen[None]):
    """One sitting; phases: making, hear, call, sure, again, again-sure, truth, over."""

    AT_THE_BAY = False
    BODY = (Banner, ChoicePanel, Pairs, Heat, SpectraPlot, Ladder)
    BINDINGS = [
        Binding("c", "call", "Call"),
        Binding("b", "without", "With and without hiss"),
        Binding("s", "spectrum", "Spectrum"),
        Binding("g", "look", "Picture"),
        Binding("n", "next", "Next round"),
    ]

    PAIRS = ("hear", "call", "truth")
    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {
        "play": PAIRS,
        "call": ("hear",),
        "look": ("hear", "truth"),
        "without": ("truth",),
        "spectrum": ("truth",),
        "next": ("truth",),
        "silence": PAIRS,
    }

    BACK = {"call": "hear", "sure": "hear", "again-sure": "again"}

    session: Session
    held: Held
    """The round in hand."""

    def __init__(self, learner: str, sit: Callable[[], Session]) -> None:
        super().__init__()
        self._learner, self._sit, self._title = learner, sit, "drill"
        self.phase = "making"
        self._paths: tuple[str, ...] = ()
        self.answered: tuple[Answer, str] | None = None
        self._without = False
        self._mute = ""

    def way(self) -> tuple[str, ...]:
        return ("lab", self._learner, self._title)

    def on_mount(self) -> None:
        for kind in (Heat, SpectraPlot, Ladder, ChoicePanel):
            self.query_one(kind).display = False
        self.start(self._begin, "session")

    async def _begin(self) -> None:
        if (session := await self.made(self._sit)) is not None:
            self.session, self._title = session, session.opened.title
            await self._next_round()

    async def _next_round(self) -> None:
        """The next round is made ready away from the screen: a fresh one is rendered only now."""
        if self.session.done:
            self.go("over")
            return
        self.phase, self.answered, self._without = "making", None, False
        self.refresh_bindings()
        self.query_one(Banner).say = Say("", "The next round is being made ready ...", "")
        held = await self.made(lambda: self.session.held)
        # The screen may have been left while the round was made.
        if held is not None and self.is_attached:
            self.held = held
            self.go("hear" if self.session.called is None else "again")

    def go(self, phase: str) -> None:
        self.phase = phase
        self.refresh_bindings()
        if phase in ("hear", "truth"):
            self._list_pairs()
        for kind in (Heat, SpectraPlot, Ladder):
            self.query_one(kind).display = False
        say = words.phase_say(phase, self.session, self.answered, self._mute)
        self.put_up(say, words.choices(phase), f"{phase} {self.session.number}")
        self._job_changed(None)

    def _list_pairs(self) -> None:
        pairs = self.query_one(Pairs)
        names = ("without its hiss", "with it") if self._without else ("quiet", "air")
        # Counted by what was played: without its hiss and quiet against air are two things to have heard.
        heard = {p.id: p.heard for p in pairs.pairs if p.clips == names} if self.phase == "truth" else {}
        pairs.pairs = tuple(Pair(p, point(p).words, names, heard.get(p, 0)) for p in self.held.points)

    def action_call(self) -> None:
        if self.phase == "hear":
            self.silence()
            self.go("call")

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        again = self.phase.startswith("again")
        if self.phase in ("sure", "again-sure"):
            self._take(Call(paths=self._paths, sure=float(event.choice)))
        elif event.choice == words.STAY:
            self._answer(None)
        elif event.choice == words.CANNOT_TELL:
            self._take(Call())
        elif event.choice == words.TWO:
            self._two()
        else:
            self._paths = (event.choice,)
            self.go("again-sure" if again else "sure")

    @asks
    async def _two(self) -> None:
        paths = await self.answer(TickScreen("Which two?", words.PAIRABLE))
        if paths is not None and len(paths) == 2:
            # In one order, whatever the list's: the same pair is the same call.
            self._paths = tuple(sorted(paths))
            self.go("again-sure" if self.phase.startswith("again") else "sure")
        elif paths is not None:
            self.tell("Tick two different paths; one alone has its own key.")

    def _take(self, call: Call) -> None:
        """A call by ear, or what is thought once the readings are told."""
        if self.phase.startswith("again"):
            self._answer(call)
            return
        with self.refusing():
            self.session.call(call)
            self.go("again")

    def _answer(self, call: Call | None) -> None:
        with self.refusing():
            self.answered = self.session.answer(call), self.held.gave_away
            self.go("truth")
            self.start(partial(self._numbers, self.held), "numbers")

    async def _numbers(self, held: Held) -> None:
        """What the meter says about the same clips: in a folder only now, only until it has read them."""
        with tempfile.TemporaryDirectory() as room:
            result = await self.bay.services.evaluate(await in_thread(held.write, Path(room)))
        # Judging takes its time: the learner may be at the next round by now.
        if self.is_attached and self.phase == "truth" and held is self.held:
            ladder = self.query_one(Ladder)
            ladder.point_rows = tuple(judged(PointRow(p.point, point(p.point).words), p) for p in result.points)
            looking = self.query_one(Heat).display or self.query_one(SpectraPlot).display
            ladder.walks, ladder.display = (), not looking

    def action_next(self) -> None:
        if self.phase == "truth":
            self.silence()
            self.start(self._next_round, "session")

    @on(Pairs.Play)
    def _play_pair(self, event: Pairs.Play) -> None:
        held, at, without = self.held, event.pair.id, self._without

        def load() -> tuple[list[Clip], float]:
            quiet, air = held.pair(at)
            first = held.without_hiss(at) if without else quiet
            return levelled([quiet if first is None else first, air])

        self.start(partial(self.play_pair, event.pair, load), "play")

    def cannot_play(self, error: AudioError) -> None:
        """The drill goes on by picture."""
        self._mute = f"{error}. The drill goes on by picture: g shows the clips."
        self.go(self.phase)

    def action_without(self) -> None:
        """Play the air clip without its hiss and with it, or quiet and air again."""
        if self.held.spec is None:
            self.tell("A real recording: without its hiss nobody has it; the quiet clip stands for it.")
            return
        self._without = not self._without
        self._list_pairs()

    def _show(self, wanted: type[Heat] | type[SpectraPlot]) -> None:
        """Put it in the numbers' place and draw it, or the numbers back."""
        heat, plot, ladder = self.query_one(Heat), self.query_one(SpectraPlot), self.query_one(Ladder)
        again = bool(self.query_one(wanted).display) and self.phase == "truth"
        for kind in (Heat, SpectraPlot):
            self.query_one(kind).display = kind is wanted and not again
        ladder.display = again and bool(ladder.point_rows)
        heat.empty, heat.picture = "making the picture ...", None
        plot.empty("working out the spectra ...")
        if not again:
            self.call_after_refresh(self._draw, self.query_one(Pairs).chosen.id)

    @in_background("look")
    async def _draw(self, at: str) -> None:
        heat, pair = self.query_one(Heat), self.held.pair(at)
        if heat.display:
            heat.picture = await in_thread(side_by_side, pair, heat.size.width, heat.size.height)
        else:
            self.query_one(SpectraPlot).show(await in_thread(exhibit, *pair))

    def action_look(self) -> None:
        self._show(Heat)

    def action_spectrum(self) -> None:
        self._show(SpectraPlot)
