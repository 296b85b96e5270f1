"""Leading a hand through a switched take: what the valve should be doing, how long still, and the tones that say so."""

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from time import monotonic

from listen.audio.cues import cue
from listen.audio.player import Player
from listen.errors import AudioError


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment of the take."""

    on: bool
    """True while the air should be on."""
    left_s: float
    """Until it should change, or the take ends."""
    cycle: int
    """Which time the air is or was last on; 0 before the first."""
    of: int

    @property
    def words(self) -> str:
        """In capitals what to do with the valve, and the count."""
        return f"AIR {'ON ' if self.on else 'OFF'} {self.left_s:4.1f}  {self.cycle} of {self.of}"


@dataclass(frozen=True, slots=True)
class Lead:
    """The commands of one take."""

    on_s: tuple[tuple[float, float], ...]
    seconds: float

    def at(self, t_s: float) -> Moment:
        """The moment ``t_s`` after the start."""
        edges = [e for pair in self.on_s for e in pair]
        passed = sum(e <= t_s for e in edges)
        until = edges[passed] if passed < len(edges) else self.seconds
        return Moment(passed % 2 == 1, max(0.0, until - t_s), (passed + 1) // 2, len(self.on_s))

    def sound(self, player: Player, over: threading.Event, now: Callable[[], float] = monotonic) -> None:
        """Give each command by its tone at its time, from now on; a loudspeaker that fails leaves the count to lead.

        Call it from a thread of its own.
        """
        began = now()
        for at_s, name in sorted(
            (t, name) for pair in self.on_s for t, name in zip(pair, ("open", "shut"), strict=True)
        ):
            if over.wait(max(0.0, began + at_s - now())):
                return
            with suppress(AudioError):
                player.play(cue(name))
