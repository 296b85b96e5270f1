"""One clip: countdown, recording, keeping, check; every way it can end is an outcome."""

from __future__ import annotations

import asyncio
import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING

from listen.errors import DeviceLost, HisswayError
from listen.jobs.events import ClipTakenBack
from listen.jobs.walk import SWITCHED
from listen.voice.names import clip as clip_words
from listen.voice.names import point_name
from tui.bridge.threads import in_thread
from tui.screens.round.now import Outcome
from tui.widgets.countdown import Count
from tui.widgets.ladder import Mark

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Sequence

    from listen.audio.lead import Lead
    from listen.audio.take import Recording, Told
    from listen.jobs.folder.parts import Partial
    from listen.jobs.walk import Step
    from listen.rounds.check import ClipCheck
    from tui.screens.round.bench import Bench

TICK_S = 0.1
"""Between two looks at the countdown."""


class Taker:
    """Takes clips for a round, one at a time."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._stop = asyncio.Event()
        self._there: asyncio.Event | None = None
        """Set once whoever walks to a point is there; None while nobody walks."""
        self.fault = ""
        """Why the last check failed."""

    def stop(self) -> None:
        """End what is under way."""
        self._stop.set()
        self.bench.listener.stop()
        self.bench.change(way="")

    def turn_back(self) -> None:
        """End the walk to a point: the clip before it is to be taken again."""
        self._stop.set()

    def there(self) -> None:
        """Whoever walks is there already: the clip may begin."""
        if self._there is not None:
            self._there.set()

    async def clip(self, step: Step, before_s: float, lead: Lead | None = None) -> Outcome:
        """From the key press until the clip is on disk; ``lead`` switches the air. Raises nothing a user can meet."""
        bench = self.bench
        self._stop.clear()
        bench.change(taking=step, outcome=None)
        bench.listener.hold_at(step.point, step.clip_kind, lead.on_s if lead else ())
        outcome = Outcome(False, "Stopped; nothing was kept.", stopped=True)
        try:
            outcome = await self._take(step, before_s, lead)
        except DeviceLost as e:
            outcome = Outcome(False, f"{e}", lost=True)
        except HisswayError as e:
            outcome = Outcome(False, f"{e}")
        finally:
            bench.count(None)
            plan = bench.now.plan[1:] if outcome.clip else bench.now.plan
            checking = ((outcome.clip, step.point, step.walk),) if outcome.clip else ()
            bench.change(taking=None, mark=None, outcome=outcome, plan=plan, checking=(*bench.now.checking, *checking))
            bench.show_changed_job()
        return outcome

    async def checked(self, step: Step, outcome: Outcome) -> Outcome:
        """Have a clip on disk checked; one that cannot be believed is taken back, with the reason."""
        bench, taken = self.bench, outcome
        check = await self.check(step.point, step.walk, taken.clip)
        where = point_name(step.point)
        if check is None:
            sentence = f"{taken.sentence} It could not be checked ({self.fault}); the round can go on."
            taken = replace(taken, sentence=sentence)
        elif check.kept:
            warning = next((f.text for f in check.flags), "")
            taken = replace(taken, sentence=f"{taken.sentence} {warning}".strip(), excess_db=check.excess_db)
        else:
            taken = Outcome(False, f"{refusal(check)} ({where})", taken.clip)
        excess = {step.point: taken.excess_db} if step.clip_kind in ("air", SWITCHED) else {}
        left = tuple(c for c in bench.now.checking if c[0] != taken.clip)
        told = bench.now.outcome if taken.kept and bench.now.outcome not in (outcome, None) else taken
        if not taken.kept:  # first: else the round would be judged with it, and the reason be gone from the screen
            bench.write(ClipTakenBack(clip=taken.clip, reason=refusal(check) if check else ""))
        bench.change(checking=left, excess={**bench.now.excess, **excess}, outcome=told)
        return taken

    async def pause(self, step: Step, word: str, seconds: float, more: str) -> bool:
        """Count down without a clip after it, for the step that comes next; False where it was stopped."""
        self._stop.clear()
        self._there = asyncio.Event()
        self.bench.change(taking=step)
        try:
            return await self._count(word, seconds, more)
        finally:
            self._there = None

    async def check(self, point: str, walk: str, clip: str) -> ClipCheck | None:
        """Have a clip on disk checked, against its point's quiet clip after the quiet walk; None where that failed."""
        bench = self.bench
        quiet = bench.record.live_clips(point, "quiet")
        beside = bench.opened.clip_path(quiet[-1].id) if quiet and walk not in ("quiet", SWITCHED) else None
        on_s = next((c.kept.on_s for c in bench.record.live_clips(point, walk) if c.id == clip), ())
        try:
            return await bench.bay.services.check(bench.opened.clip_path(clip), point, beside, on_s)
        except HisswayError as e:
            self.fault = str(e)
            return None

    async def _take(self, step: Step, before_s: float, lead: Lead | None) -> Outcome:
        where = f"{point_name(step.point)}, {clip_words(step.clip_kind)}"
        if not await self._count(f"get ready: {where}", before_s, "get clear of the microphone   Esc stops"):
            return Outcome(False, "Stopped before the clip began; nothing was recorded.", stopped=True)
        bench = self.bench
        on_s = lead.on_s if lead else ()
        part = bench.opened.new_part(bench.round_id, step.point, step.clip_kind, step.walk, on_s)
        recording = await self._record(part, where, lead)
        if recording.cancelled:
            part.path.unlink(missing_ok=True)
            return Outcome(False, "Stopped; the clip was not kept.", stopped=True)
        await in_thread(bench.opened.keep, part, recording)
        return Outcome(True, f"Kept: {where}, {recording.seconds:.1f} s.", part.clip)

    async def recorded(
        self,
        lead: Lead,
        told: list[str],
        record: Callable[[Told], Awaitable[tuple[Recording | None, ...]]],
        places: Sequence[str],
    ) -> tuple[Recording | None, ...]:
        """Record while the air is led; what a channel does wrong is added to ``told`` and shown at once."""
        counting = asyncio.create_task(self._follow(lead, told))
        try:
            return await record(lambda c, fault: told.append(f"{point_name(places[c]).capitalize()}: {fault}."))
        finally:
            counting.cancel()

    async def _record(self, part: Partial, where: str, lead: Lead | None) -> Recording:
        self.bench.change(mark=Mark.RECORDING)
        seconds = lead.seconds if lead else _seconds(self.bench)
        count = (
            self._follow(lead)
            if lead
            else self._count(f"RECORDING {where}", seconds, "keep still   Esc stops", live=True)
        )
        counting = asyncio.create_task(count)
        try:
            return await self.bench.listener.record(part.path, seconds)
        finally:
            counting.cancel()

    async def _follow(self, lead: Lead, told: Sequence[str] = ()) -> None:
        """What the valve should be doing, in large letters and by tones, as long as the take lasts."""
        began, over = time.monotonic(), threading.Event()
        self.bench.bay.services.tones(self.bench.bay.preferences).lead(lead, over)
        try:
            while (gone := time.monotonic() - began) < lead.seconds:
                moment = lead.at(gone)
                word = f"AIR {'ON' if moment.on else 'OFF'}   {moment.cycle} of {moment.of}"
                more = f"! {told[-1]}" if told else "the valve over half a second   Esc stops"
                self.bench.count(Count(word, moment.left_s, lead.on_s[0][0], True, more))  # on and off are as long
                await asyncio.sleep(TICK_S)
        finally:
            over.set()

    async def _count(self, word: str, seconds: float, more: str, *, live: bool = False) -> bool:
        """Count down; False where it was stopped."""
        end, there = time.monotonic() + seconds, self._there
        while (left := end - time.monotonic()) > 0 and not self._stop.is_set() and not (there and there.is_set()):
            self.bench.count(Count(word, left, seconds, live, more))
            await asyncio.sleep(min(TICK_S, left))
        return not self._stop.is_set()


def _seconds(bench: Bench) -> float:
    """Length of the clip: as preferred, or longer where the plan says so."""
    asked = bench.now.plan[0].seconds if bench.now.plan else 0.0
    return max(bench.bay.preferences.clip_s, asked)


def refusal(check: ClipCheck) -> str:
    """Why a clip cannot be believed."""
    return next((f.text for f in check.flags if f.reject), "it cannot be measured")
