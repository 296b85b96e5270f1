"""The course of one clip: countdown, recording, keeping, check; every way it can end is an outcome."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from listen.errors import DeviceLost, HisswayError
from tui.bridge.listener import Listener
from tui.bridge.threads import in_thread
from tui.widgets.countdown import Count
from tui.widgets.ladder import Mark

if TYPE_CHECKING:
    from listen.audio.source import Recording
    from listen.jobs.folder.open_job import OpenJob
    from listen.jobs.folder.parts import Partial
    from listen.jobs.walk import Step
    from listen.rounds.analyst import Analyst
    from listen.rounds.check import ClipCheck

TICK_S = 0.1
"""Between two looks at the countdown."""
AIR_WORDS = {"quiet": "air off", "air": "air on", "sound": "air on, sound cylinder", "shut": "cylinder side shut off"}


@dataclass(frozen=True, slots=True)
class Outcome:
    """How it ended: kept, to be taken again, or stopped; with a sentence."""

    kept: bool
    sentence: str
    clip: str = ""
    """Id, where the clip is on disk."""
    excess_db: float | None = None
    stopped: bool = False
    lead: str = "Again, because"
    """What stands before the sentence where it was not kept."""
    lost: bool = False
    """The microphone went away; what had arrived is kept as a left-over take."""


class Course:
    """Runs one clip at a time for a round."""

    def __init__(
        self,
        listener: Listener,
        opened: Callable[[], OpenJob],
        analyst: Callable[[], Analyst],
        renew: Callable[[], None],
        show_count: Callable[[Count | None], None],
        show_mark: Callable[[Mark | None], None],
    ) -> None:
        self._listener, self._opened, self._analyst, self._renew = listener, opened, analyst, renew
        self._show_count, self._show_mark = show_count, show_mark
        self._stop = asyncio.Event()
        self.fault = ""
        """Why the last check failed."""

    def stop(self) -> None:
        """End the countdown or the take that is under way."""
        self._stop.set()
        self._listener.stop()

    async def run(self, round_id: str, step: Step, before_s: float, clip_s: float) -> Outcome:
        """From the key press to the word on the clip. Never raises what a user can meet."""
        self._stop.clear()
        where = f"{step.point.replace('-', ' ')}, {AIR_WORDS.get(step.clip_kind, step.clip_kind)}"
        try:
            if not await self.count(f"get ready: {where}", before_s, "get clear of the microphone   Esc stops"):
                return Outcome(False, "Stopped before the clip began; nothing was recorded.", stopped=True)
            opened = self._opened()
            part = opened.new_part(round_id, step.point, step.clip_kind, step.walk)
            recording = await self._record(part, where, clip_s)
            if recording.cancelled:
                part.path.unlink(missing_ok=True)
                return Outcome(False, "Stopped; the clip was not kept.", stopped=True)
            return await self._keep(opened, part, recording, step, where)
        except DeviceLost as e:
            return Outcome(False, f"{e}", lost=True)
        except HisswayError as e:
            return Outcome(False, f"{e}")
        finally:
            self._show_count(None)
            self._show_mark(None)

    async def pause(self, word: str, seconds: float, more: str) -> bool:
        """Count down without a clip after it (time to move); False where it was stopped."""
        self._stop.clear()
        return await self.count(word, seconds, more)

    async def count(self, word: str, seconds: float, more: str, *, live: bool = False) -> bool:
        """Count down; False where it was stopped."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0 and not self._stop.is_set():
            self._show_count(Count(word, left, seconds, live, more))
            await asyncio.sleep(min(TICK_S, left))
        return not self._stop.is_set()

    async def _record(self, part: Partial, where: str, clip_s: float) -> Recording:
        self._show_mark(Mark.RECORDING)
        counting = asyncio.create_task(self.count(f"RECORDING {where}", clip_s, "keep still   Esc stops", live=True))
        try:
            return await self._listener.record(part.path, clip_s)
        finally:
            counting.cancel()

    async def _keep(self, opened: OpenJob, part: Partial, recording: Recording, step: Step, where: str) -> Outcome:
        self._show_mark(Mark.CHECKING)
        self._show_count(Count(f"checking {where}", 0.0, 1.0, more="it is on disk; Space again goes straight on"))
        await in_thread(opened.keep, part, recording)
        kept = f"Kept: {where}, {recording.seconds:.1f} s."
        check = await self.check(part.round_id, step.point, step.walk, part.clip)
        if check is None:
            return Outcome(True, f"{kept} It could not be checked ({self.fault}); the round can go on.", part.clip)
        if check.kept:
            warning = next((f.text for f in check.flags), "")
            return Outcome(True, f"{kept} {warning}".strip(), part.clip, check.excess_db)
        reason = next((f.text for f in check.flags if f.reject), "it cannot be measured")
        return Outcome(False, reason, part.clip)

    async def check(self, round_id: str, point: str, walk: str, clip: str) -> ClipCheck | None:
        """Have a clip on disk checked, against its point's quiet clip after the quiet walk; None where that failed."""
        opened = self._opened()
        quiet = opened.job.round(round_id).live_clips(point, "quiet")
        beside = opened.clip_path(quiet[-1].id) if quiet and walk != "quiet" else None
        try:
            return await asyncio.wrap_future(self._analyst().check(opened.clip_path(clip), beside))
        except HisswayError as e:
            self.fault = str(e)
        except Exception as e:  # noqa: BLE001 - a fault in the analysis must not cost the clip, which is on disk
            self._renew()
            self.fault = type(e).__name__
        return None
