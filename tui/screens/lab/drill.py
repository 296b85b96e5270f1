"""A drill: hear a round, call it, see the truth; answer by answer, each on disk before it is told."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from listen.errors import AudioError, HisswayError
from listen.lab.training.answers import BlindItem, Call, Reveal
from listen.trade.points import Kind, point
from tui.bridge.playback import prepared
from tui.bridge.threads import in_thread
from tui.screens.hearing import HearingScreen
from tui.screens.lab import drill_words as words
from tui.screens.lab.sitting import sit_down
from tui.screens.rungs import judged, short_words
from tui.widgets.banner import Banner
from tui.widgets.heat import Heat
from tui.widgets.ladder import Ladder, Rung
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import ChoicePanel

if TYPE_CHECKING:
    from listen.judge.result import RoundResult
    from listen.lab.learners import Learner
    from listen.lab.training.session import Session


class DrillScreen(HearingScreen[None]):
    """One sitting; phases: hear, call, sure, truth, over."""

    CSS_PATH = "lab.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c", "call", "Call"),
        Binding("g", "look", "Look instead"),
        Binding("n", "next", "Next round"),
    ]

    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {
        "call": ("hear",),
        "look": ("hear",),
        "next": ("truth",),
        "silence": ("hear", "call"),
    }

    def __init__(self, root: Path, learner: Learner, drill: str) -> None:
        super().__init__()
        self._root, self._learner, self._drill = root, learner, drill
        self.session: Session | None = None
        self.phase = "hear"
        self._path = ""
        self.reveal: Reveal | None = None
        self._mute = ""

    def body(self) -> ComposeResult:
        """Banner, answers, pairs, picture, ladder."""
        yield Banner()
        yield ChoicePanel(id="choice")
        yield Pairs()
        yield Heat()
        yield Ladder()

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return ("lab", self._learner.name, self.session.drill.title if self.session else "drill")

    def on_mount(self) -> None:
        """Sit down: go on where this drill was left, or begin it."""
        super().on_mount()
        for kind in (Heat, Ladder, ChoicePanel):
            self.query_one(kind).display = False
        try:
            self.session = sit_down(self._root, self._learner, self._drill)
        except HisswayError as e:
            self.refuse(e)
            self.dismiss()
            return
        self.go("over" if self.session.done else "hear")

    def on_unmount(self) -> None:
        """Leave; it can be gone on with."""
        super().on_unmount()
        if self.session is not None:
            self.session.close()

    @property
    def item(self) -> BlindItem:
        """The round in hand."""
        assert self.session is not None
        return self.session.item

    def go(self, phase: str) -> None:
        """Show a phase."""
        assert self.session is not None
        self.phase = phase
        self.refresh_bindings()
        banner, choice, pairs = self.query_one(Banner), self.query_one(ChoicePanel), self.query_one(Pairs)
        banner.say = words.phase_say(phase, self.session, self.reveal, self._mute)
        if phase == "hear":
            pairs.pairs = tuple(Pair(p, point(p).words, ("quiet", "air")) for p in self.item.points)
            self.query_one(Ladder).display = False
        choices = words.choices(phase, self.item.points) if phase in ("call", "sure") else ()
        choice.display, pairs.display = bool(choices), phase in ("hear", "call")
        if choices:
            choice.show(choices, f"{phase} {self.session.number}")
            choice.focus()
        elif phase == "hear":
            pairs.focus()
        else:
            self.query_one(Heat).display = False
            self.query_one(Ladder).focus()
        self._job_changed(None)

    # ------------------------------------------------------------------ answering

    def action_call(self) -> None:
        """From hearing to calling."""
        if self.phase == "hear":
            self.playback.stop()
            self.go("call")

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        if self.phase == "sure":
            self._answer(Call(paths=(self._path,), sure=float(event.choice)))
        elif event.choice == words.CANNOT_TELL:
            self._answer(Call())
        else:
            self._path = event.choice
            self.go("sure")

    def _answer(self, call: Call) -> None:
        assert self.session is not None
        try:
            self.reveal = self.session.answer(call)
        except HisswayError as e:
            self.refuse(e)
            return
        self.go("truth")
        self.start(partial(self._numbers, self.reveal), "numbers")

    async def _numbers(self, reveal: Reveal) -> None:
        """What the meter says about the same clips."""
        try:
            result = await self.bay.services.evaluate(reveal.round)
        except HisswayError as e:
            self.refuse(e)
            return
        if self.is_attached and self.phase in ("truth", "over"):
            ladder = self.query_one(Ladder)
            ladder.walks, ladder.rungs, ladder.display = (), _rungs(result), True

    def action_next(self) -> None:
        """The next round of the drill."""
        if self.phase == "truth" and self.session is not None:
            self.reveal = None
            self.go("over" if self.session.done else "hear")

    def action_back(self) -> None:
        """Back to hearing; else leave."""
        if self.phase in ("call", "sure"):
            self.go("hear")
        else:
            super().action_back()

    # ------------------------------------------------------------------ hearing

    def _files(self, at: str) -> list[Path]:
        first = {kind: next(t.path for t in self.item.clips if t.point == at and t.kind is kind) for kind in KINDS}
        return [first[kind] for kind in KINDS]

    @on(Pairs.Play)
    def _play_pair(self, event: Pairs.Play) -> None:
        load = partial(prepared, self._files(event.pair.id))
        self.start(partial(self.play_pair, event.pair, load), "play")

    def cannot_play(self, error: AudioError) -> None:
        """The drill goes on by picture."""
        self._mute = f"{error}. The drill goes on by picture: g shows the clips."
        self.go(self.phase)

    def action_look(self) -> None:
        """Show the chosen pair as a picture instead of a sound."""
        heat, pairs = self.query_one(Heat), self.query_one(Pairs)
        if self.phase == "hear" and pairs.pairs:
            heat.display = True
            heat.empty, heat.picture = "making the picture ...", None
            look = partial(self._picture, pairs.pairs[pairs.chosen])
            self.call_after_refresh(self.start, look, "look")

    async def _picture(self, pair: Pair) -> None:
        from tui.screens.lab.sitting import side_by_side

        heat = self.query_one(Heat)
        try:
            heat.picture = await in_thread(side_by_side, self._files(pair.id), heat.size.width, heat.size.height)
        except HisswayError as e:
            self.refuse(e)


KINDS = (Kind.QUIET, Kind.AIR)


def _rungs(result: RoundResult) -> tuple[Rung, ...]:
    return tuple(judged(Rung(p.point, point(p.point).words, short_words(point(p.point))), p) for p in result.points)
