"""One clip: countdown, recording, keeping, check; every way it can end is an outcome."""

import asyncio
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from listen import switched_take
from listen.audio.lead import Lead
from listen.audio.take import Recording
from listen.errors import DeviceLost, HisswayError
from listen.jobs.events import ClipTakenBack
from listen.jobs.folder.parts import Partial, new_clip_id
from listen.jobs.walk import Step
from listen.jobs.ways import SWITCHED, way_of
from listen.rounds.check import ClipCheck
from listen.signal.channels import channel_faults, heard
from listen.signal.switching import commanded_times
from listen.voice.names import clip as clip_words
from listen.voice.names import point_name
from tui.bridge.threads import in_thread
from tui.screens.round.bench import Bench
from tui.screens.round.now import Outcome
from tui.widgets.ladder import Mark
from tui.widgets.large import Count

LISTEN_S = 1.5
"""Of every channel, before a take of several."""
TICK_S = 0.1
"""Between two looks at the countdown."""
STILL = "keep still   Esc stops"


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
        self._stop.set()
        self.bench.listener.stop()
        self.bench.change(led=False)

    def turn_back(self) -> None:
        """End the walk to a point: the clip before it is to be taken again."""
        self._stop.set()

    def there(self) -> None:
        """Whoever walks is there already: the clip may begin."""
        if self._there is not None:
            self._there.set()

    async def take(self, step: Step, before_s: float) -> list[tuple[Step, Outcome]]:
        """From the key press until what it takes is on disk: each clip's step and outcome, or why there is none.

        Raises nothing a user can meet.
        """
        bench = self.bench
        self._stop.clear()
        bench.change(taking=step, outcome=None)
        taken: list[tuple[Step, Outcome]] = []
        outcome = Outcome(False, "Stopped; nothing was kept.", stopped=True)
        try:
            outcome = await self._take(step, before_s, taken)
        except HisswayError as e:
            outcome = Outcome(False, f"{e}", lost=isinstance(e, DeviceLost))
        finally:
            # Whatever ended it: a screen that believes a take under way would begin no other.
            bench.count(None)
            checking = tuple((o.clip, at.point, at.walk) for at, o in taken)
            plan = bench.now.plan[1:] if taken else bench.now.plan
            bench.change(taking=None, mark=None, outcome=outcome, plan=plan, checking=(*bench.now.checking, *checking))
        return taken or [(step, outcome)]

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
        # A later take may have told its outcome meanwhile; that one stays.
        latest = bench.now.outcome if taken.kept and bench.now.outcome not in (outcome, None) else taken
        if not taken.kept:  # first: else the round would be judged with it, and the reason be gone from the screen
            bench.write(ClipTakenBack(clip=taken.clip, reason=refusal(check) if check else ""))
        bench.change(checking=left, excess={**bench.now.excess, **excess}, outcome=latest)
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

    async def _take(self, step: Step, before_s: float, taken: list[tuple[Step, Outcome]]) -> Outcome:
        """Count down, record, keep; clips go into ``taken`` as they are on disk. Gives the outcome of all."""
        bench = self.bench
        places = bench.microphones(step)
        lead = leads() if step.walk == SWITCHED else None
        on_s = lead.on_s if lead else ()
        bench.listener.hold_at(places, step.clip_kind, on_s)
        where = f"{point_name(step.point)}, {clip_words(step.clip_kind)}"
        if len(places) > 1:
            where, before_s = "all points", max(before_s, LISTEN_S)
        if not await self._count(f"get ready: {where}", before_s, "get clear of the microphone   Esc stops"):
            return Outcome(False, "Stopped before the clip began; nothing was recorded.", stopped=True)
        if len(places) > 1 and (doubt := await doubted(bench, places)) and doubt != bench.now.doubted:
            bench.change(doubted=doubt)
            return Outcome(False, f"{doubt} Space takes it all the same.", lead="No air yet")
        every = way_of(bench.opened.job.way).by_key_at(step.walk, 0.0, 0.0) == "all"
        due = {s.point: s for s in (*(bench.due_takes() if every else ()), step)}
        # One name joins the clips of one take: they are judged as taken together.
        name = new_clip_id() if len(places) > 1 else ""
        parts = [
            bench.opened.new_part(bench.round_id, p, step.clip_kind, step.walk, on_s, name) if p in due else None
            for p in places
        ]
        faults: list[str] = []
        for part, recording in zip(parts, await self._record(parts, where, lead, faults), strict=True):
            if part is None:
                continue
            if recording is None or recording.cancelled:
                # Stopped by hand: kept, it would be offered as a take left over by a crash.
                part.path.unlink(missing_ok=True)
                continue
            await bench.bay.written(partial(bench.opened.keep, part, recording))
            kept = f"Kept: {point_name(part.point)}, {clip_words(step.clip_kind)}, {recording.seconds:.1f} s."
            taken.append((due[part.point], Outcome(True, kept, part.clip)))
        # Taken all the same, or nothing was wrong: the next take is listened to anew.
        bench.change(doubted="")
        if not taken:
            return Outcome(False, " ".join(faults) or "Stopped; the clip was not kept.", stopped=not faults)
        if len(due) == 1:
            return taken[0][1]
        kept = " ".join([f"Kept: {len(taken)} of {len(due)} points, {recording_s(lead, bench):g} s.", *faults])
        return Outcome(len(taken) == len(due), kept, taken[-1][1].clip, lead="Some points again")

    async def _record(
        self, parts: Sequence[Partial | None], where: str, lead: Lead | None, faults: list[str]
    ) -> tuple[Recording | None, ...]:
        """Record while it is counted or the air is led; what goes wrong is added to ``faults`` and shown at once."""
        self.bench.change(mark=Mark.RECORDING)
        seconds = recording_s(lead, self.bench)
        names = [p and point_name(p.point).capitalize() for p in parts]
        count = self._follow(lead, faults) if lead else self._count(f"RECORDING {where}", seconds, STILL, faults)
        # Beside the recording, whose thread keeps the time: the count only shows it.
        counting = asyncio.create_task(count)
        try:
            return await self.bench.listener.record(
                [p.path if p else None for p in parts],
                seconds,
                lambda channel, said: faults.append(f"{names[channel]}: {said}."),
            )
        finally:
            # Also where the microphone failed first: else it would count on over a take that is no more.
            counting.cancel()

    async def _follow(self, lead: Lead, faults: Sequence[str]) -> None:
        """What the valve should be doing, in large letters and by tones, as long as the take lasts."""
        began, over = time.monotonic(), threading.Event()
        # From a thread of their own: a screen that draws would make them late.
        self.bench.bay.services.tones(self.bench.bay.preferences).lead(lead, over)
        try:
            while (gone := time.monotonic() - began) < lead.seconds:
                moment = lead.at(gone)
                word = f"AIR {'ON' if moment.on else 'OFF'}   {moment.cycle} of {moment.of}"
                more = f"! {faults[-1]}" if faults else "turn the valve over half a second   Esc stops"
                self.bench.count(Count(word, moment.left_s, lead.on_s[0][0], True, more))  # on and off are as long
                await asyncio.sleep(TICK_S)
        finally:
            over.set()

    async def _count(self, word: str, seconds: float, more: str, faults: Sequence[str] | None = None) -> bool:
        """Count down; False where it was stopped. ``faults``: of a recording, what went wrong so far."""
        # By the clock, not by ticks: a busy screen draws fewer, and the clip begins in time.
        end, there = time.monotonic() + seconds, self._there
        while (left := end - time.monotonic()) > 0 and not self._stop.is_set() and not (there and there.is_set()):
            shown = f"! {faults[-1]}" if faults else more
            self.bench.count(Count(word, left, seconds, faults is not None, shown))
            await asyncio.sleep(min(TICK_S, left))
        return not self._stop.is_set()


def leads() -> Lead:
    """The commands of a switched take."""
    usual = switched_take.CYCLES, switched_take.PERIOD_S
    return Lead(commanded_times(*usual), switched_take.switched_s(*usual))


def recording_s(lead: Lead | None, bench: Bench) -> float:
    """Length of the clip: what its commands take; else as preferred or asked for."""
    return lead.seconds if lead else bench.now.clip_s(bench.bay.preferences.clip_s)


async def doubted(bench: Bench, places: Sequence[str]) -> str:
    """What is wrong with a channel, in a sentence; else what they sound like is kept for the next time."""

    found = bench.listener.recent(LISTEN_S)
    if found is None:
        return "The microphones send nothing yet."
    now = await in_thread(heard, *found)
    name = bench.listener.name
    kept = bench.bay.preferences.prints.get(name, ())
    before = np.array(kept) if kept else None
    wrong = channel_faults(now, [c for c, p in enumerate(places) if p], before)
    if wrong:
        return " ".join(f"Channel {c + 1}, {point_name(places[c])}: {why}." for c, why in sorted(wrong.items()))
    # Only where nothing was wrong: what is wrong today must not be what is expected tomorrow.
    prints = tuple(tuple(round(float(x), 1) for x in row) for row in now.print_db)
    bench.bay.prefer(prints={**bench.bay.preferences.prints, name: prints})
    return ""


def refusal(check: ClipCheck) -> str:
    return next((f.text for f in check.flags if f.reject), "it cannot be measured")
