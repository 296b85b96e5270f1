"""What the screens need from the outside world, made on demand; tests and the demo hand in others."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from listen.audio.devices import find, listed
from listen.audio.library import reload_devices
from listen.errors import HisswayError
from listen.jobs.exchange.keys import shop_key
from listen.jobs.folder.store import jobs_root
from listen.jobs.job import Job
from listen.lab.learners import lab_root
from tui.bridge.preferences import Preferences

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from listen.audio.microphone import SoundInput
    from listen.audio.player import Player
    from listen.judge.result import RoundResult
    from listen.rounds.analyst import Analyst
    from listen.rounds.check import ClipCheck, Spans
    from listen.rounds.model import Round
    from tui.bridge.playback import Tones


T = TypeVar("T")
MOST_CHANNELS = 16
"""Of one input."""


class AnalysisFailed(HisswayError):
    """The analysing process died or had a fault of ours."""


@contextmanager
def plain_standard_error() -> Iterator[None]:
    """While a process is started: Textual's ``sys.stderr`` has no descriptor, and multiprocessing passes one on."""
    kept = sys.stderr
    try:
        with open(2, "w", closefd=False, encoding="utf-8", errors="replace") as plain:
            sys.stderr = plain
            yield
    finally:
        sys.stderr = kept


@dataclass(frozen=True, slots=True)
class Input:
    """One input that may be chosen."""

    name: str
    more: str
    is_default: bool = False


@dataclass
class Services:
    """Factories with the real things as defaults; each loads what it needs when it is first called."""

    jobs: Path | None = None
    """Folder of the jobs; None is the usual one."""
    remark: str = ""
    """Words for the top line; empty for the real thing."""
    _analyst: Analyst | None = field(default=None, repr=False)
    _player: Player | None = field(default=None, repr=False)

    def jobs_root(self) -> Path:
        return jobs_root(self.jobs)

    def lab_root(self) -> Path:
        return lab_root()

    def prepare(self) -> Path | None:
        """Make ready; a demo returns the job to begin with."""
        return None

    def preferences_path(self) -> Path:
        from platformdirs import user_config_path

        return user_config_path("hissway", appauthor=False) / "screens.json"

    def shop_key(self) -> Ed25519PrivateKey | None:
        """The key that signatures on this machine carry, if the shop has made one."""
        return shop_key()

    def source(self, cylinder: int | None = None, name: str | None = None, *, every: bool = False) -> SoundInput:
        """The microphone of that name, or ``every`` channel of it (a simulated one would hear this cylinder)."""
        from listen.audio.microphone import Microphone

        device = find("input", name)
        return Microphone(device, channels=min(device.channels, MOST_CHANNELS) if every else 1)

    def inputs(self) -> tuple[Input, ...]:
        """Inputs there are; looks anew."""
        reload_devices()
        return tuple(
            Input(d.label, f"{d.rate_hz / 1000:g} kHz, {d.channels} channel(s), {d.host_api}", d.is_default)
            for d in listed("input")
        )

    def welcome(self, job: Job) -> str:
        """A first word on the Engine screen; empty for the real thing."""
        return ""

    def gauge(self, cylinder: int) -> str:
        """What a simulated tester reads; empty for the real thing."""
        return ""

    def tones(self, preferences: Preferences) -> Tones:
        """The short tones of a hands-free walk."""
        from tui.bridge.playback import Tones

        return Tones(self.player() if preferences.tones else None)

    def analyst(self) -> Analyst:
        """The process that checks clips and judges rounds; started early, it keeps no first clip waiting."""
        if self._analyst is None:
            from listen.rounds.analyst import Analyst

            with plain_standard_error():
                self._analyst = Analyst()
        return self._analyst

    async def check(self, clip: Path, at: str, quiet: Path | None, on_s: Spans = ()) -> ClipCheck:
        """Look a clip over, against a quiet clip of its point or, of a switched take, half against half."""
        return await self._analysed(lambda: self.analyst().check(clip, at, quiet, on_s))

    async def evaluate(self, round_: Round) -> RoundResult:
        return await self._analysed(lambda: self.analyst().evaluate(round_))

    async def _analysed(self, work: Callable[[], Future[T]]) -> T:
        """Result of a piece of analysis. Whatever fails in there is one sentence here, and another process is made."""
        try:
            return await asyncio.wrap_future(work())
        except HisswayError:
            raise
        except Exception as e:
            # It may have died of it: the next piece of work gets a process of its own.
            if self._analyst is not None:
                self._analyst.close()
                # Dropped here, made again when it is next asked for.
                self._analyst = None
            raise AnalysisFailed(f"the analysis failed ({type(e).__name__}); nothing is lost") from e

    def player(self) -> Player:
        if self._player is None:
            from listen.audio.player import Player

            self._player = Player()
        return self._player

    def close(self) -> None:
        if self._player is not None:
            self._player.stop()
        if self._analyst is not None:
            self._analyst.close()
