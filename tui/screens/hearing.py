"""Screens on which pairs of clips are heard."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import ClassVar, TypeVar

from textual.binding import Binding

from listen.errors import AudioError, HisswayError
from listen.signal.clip import Clip
from tui.bridge.playback import POLL_S
from tui.bridge.threads import in_thread
from tui.screens.base import BayScreen
from tui.widgets.banner import Banner, Say
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import Choice, ChoicePanel

R = TypeVar("R")
T = TypeVar("T")
Load = Callable[[], tuple[Sequence[Clip], float]]
"""Gives clips in the order they are played, and their gain."""
PAUSE_S = 0.25
"""Between two clips that are compared."""


class PlayingScreen(BayScreen[R]):
    """Plays clips one after the other, a new sequence in place of the one under way; is silent when left."""

    _turn = 0
    """Which sequence was asked for last: whatever belongs to an earlier one stops."""

    def silence(self) -> None:
        self._turn += 1
        self.bay.services.player().stop()

    def on_unmount(self) -> None:
        self.silence()

    def action_silence(self) -> None:
        self.silence()

    async def sound(self, load: Load, told: Callable[[int], None]) -> bool:
        """Load clips in a thread and play them in order at their gain; gives whether all came to their end.

        ``told`` hears which one sounds (0, 1, ..., -1: none) while the screen is here. Raises what loading or the
        loudspeaker raise.
        """

        def here(i: int) -> None:
            if self.is_attached:
                told(i)

        self._turn += 1
        turn = self._turn
        try:
            clips, gain_db = await in_thread(load)
            player = self.bay.services.player()
            for i, clip in enumerate(clips):
                if turn != self._turn:
                    return False
                here(i)
                await in_thread(player.play, clip, gain_db)
                while player.playing and turn == self._turn:
                    await asyncio.sleep(POLL_S)
                # No pause behind the last: what comes after it is not compared with anything.
                if turn == self._turn and i + 1 < len(clips):
                    await asyncio.sleep(PAUSE_S)
            return turn == self._turn
        finally:
            here(-1)


class HearingScreen(PlayingScreen[R]):
    """Shows which clip sounds, and counts what was heard."""

    BINDINGS = [
        Binding("space,enter,pagedown", "play", "Play", key_display="Space"),
        Binding("up", "move(-1)", "Move", show=False),
        Binding("down", "move(1)", "Move", show=False),
        Binding("x", "silence", "Stop"),
    ]
    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {}
    """Actions that belong to some phases only; in the others their keys are not offered."""
    PAIRS: tuple[str, ...] = ()
    """Phases in which there are pairs to hear."""
    BACK: Mapping[str, str] = {}
    """Where Esc leads from a phase in which nothing was written; from the others it leaves."""
    phase: str = ""

    def go(self, phase: str) -> None:
        raise NotImplementedError

    def put_up(self, say: Say, choices: tuple[Choice, ...], about: str, *, sure: bool = False) -> None:
        """Say and ask what belongs to the present phase; the keys go to the answers, else to the pairs."""
        asked, pairs = self.query_one(ChoicePanel), self.query_one(Pairs)
        self.query_one(Banner).say = say
        asked.display, pairs.display = bool(choices), self.phase in self.PAIRS
        if choices:
            asked.show(choices, about, sure=sure)
        if choices or pairs.display:
            self.set_focus(asked if choices else pairs)

    def action_back(self) -> None:
        if self.phase in self.BACK:
            self.go(self.BACK[self.phase])
        else:
            super().action_back()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return action not in self.PHASE_KEYS or self.phase in self.PHASE_KEYS[action]

    def action_play(self) -> None:
        """The pair one is on: also while something is asked, which has the keys then."""
        self.query_one(Pairs).play()

    def action_move(self, by: int) -> None:
        self.query_one(Pairs).action_move(by)

    async def play_pair(self, pair: Pair, load: Load) -> None:
        """Play both clips of a pair; it counts as heard once both are over."""
        pairs = self.query_one(Pairs)

        def told(i: int) -> None:
            pairs.sounding = (pair.id, i)

        try:
            whole = await self.sound(load, told)
        except AudioError as e:
            self.cannot_play(e)
            return
        if not whole:
            return
        pairs.pairs = tuple(replace(p, heard=p.heard + (p.id == pair.id)) for p in pairs.pairs)
        self.was_heard(pair)

    async def made(self, make: Callable[[], T]) -> T | None:
        """What is made away from the screen; None, and the screen is left, where that is refused."""
        try:
            return await in_thread(make)
        except HisswayError as e:
            self.refuse(e)
            self.dismiss()
            return None

    def was_heard(self, pair: Pair) -> None:
        """A pair was played to its end."""

    def cannot_play(self, error: AudioError) -> None:
        """There is no loudspeaker."""
        self.refuse(error)
