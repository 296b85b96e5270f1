"""Screens on which pairs of clips are heard."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.binding import Binding

from listen.errors import AudioError, HisswayError
from tui.bridge.playback import Playback
from tui.screens.base import BayScreen
from tui.widgets.pairs import Pair, Pairs

if TYPE_CHECKING:
    from listen.signal.clip import Clip

R = TypeVar("R")


class PlayingScreen(BayScreen[R]):
    """Holds a playback, and is silent when left."""

    def on_mount(self) -> None:
        self.playback = Playback(self.bay.services.player)
        super().on_mount()

    def on_unmount(self) -> None:
        self.playback.stop()

    def action_silence(self) -> None:
        self.playback.stop()


class HearingScreen(PlayingScreen[R]):
    """Shows which clip sounds, and counts what was heard."""

    BINDINGS = [Binding("x", "silence", "Stop")]
    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {}
    """Actions that belong to some phases only; in the others their keys are not offered."""
    phase: str = ""

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return action not in self.PHASE_KEYS or self.phase in self.PHASE_KEYS[action]

    async def play_pair(self, pair: Pair, load: Callable[[], tuple[Sequence[Clip], float]]) -> None:
        """Play both clips of a pair; it counts as heard once both are over."""
        pairs = self.query_one(Pairs)

        def told(i: int) -> None:
            if self.is_attached:
                pairs.sounding = (pair.id, i)

        try:
            whole = await self.playback.play(load, told)
        except AudioError as e:
            self.cannot_play(e)
            return
        except HisswayError as e:
            self.refuse(e)
            return
        finally:
            told(-1)
        if not whole:
            return
        pairs.pairs = tuple(replace(p, heard=p.heard + (p.id == pair.id)) for p in pairs.pairs)
        self.was_heard(pair)

    def was_heard(self, pair: Pair) -> None:
        """A pair was played to its end."""

    def cannot_play(self, error: AudioError) -> None:
        """There is no loudspeaker."""
        self.refuse(error)
