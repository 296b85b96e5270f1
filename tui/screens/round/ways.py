"""Ways of taking the clips of a walk: a row each, with its key, where it is offered, and what it does."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from listen.jobs.walk import SWITCHED
from listen.jobs.ways import ALL, EACH, WAYS
from listen.trade.cautions import Step as CautionStep
from listen.voice.names import point_name
from tui.screens.round.together import together

if TYPE_CHECKING:
    from listen.audio.lead import Lead
    from listen.jobs.walk import Step
    from tui.bridge.tones import Tones
    from tui.screens.round.now import Outcome
    from tui.screens.round.taker import Taker

AFTER_TONE_S = 1.0
"""Between the tone and the clip: long enough that no tone is ever in a clip."""
CYCLES, PERIOD_S = 4, 5.0
"""Of a switched take: 22.5 s a point, four points in 90 s."""
MOST_REFUSALS = 2
"""Led: after so many clips refused at one point somebody has to look."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way. ``take`` runs until its part of the walk is over or it was stopped; it is run with one step due."""

    id: str
    """Stands in ``Now.way`` while it goes on."""
    key: str
    words: str
    """On the key bar."""
    offered: Callable[[Step], bool]
    """At which steps its key does something."""
    take: Callable[[Taker, Step], Awaitable[None]]
    cautions: CautionStep | None = None
    """Cautions that stand before it, read and acknowledged once a round."""


async def one(taker: Taker, step: Step) -> None:
    """One clip; its check goes on while the next one may begin."""
    outcome = await taker.clip(step, taker.bench.bay.preferences.before_s)
    if outcome.clip:
        await taker.checked(step, outcome)


async def hands_free(taker: Taker, step: Step) -> None:
    """Lead through the rest of a walk by tones; taken point by point, through all that is left."""
    walk, every = step.walk, taker.bench.opened.job.way == EACH
    await _led(taker, step, lambda due: every or due.walk == walk)


async def one_point(taker: Taker, step: Step) -> None:
    """All clips of a point while the microphone stays: a count and a tone say when the air comes and goes."""
    await _led(taker, step, lambda due: due.point == step.point, there=step)


async def _led(taker: Taker, step: Step, goes_on: Callable[[Step], bool], there: Step | None = None) -> None:
    """Lead from step to step: move or turn the air, tone, clip. The step announced is the step recorded.

    A clip is checked meanwhile; where it is refused the way back is announced at once. ``there``: the step for which
    all is as it should be already.
    """
    bench = taker.bench
    prefs, sounds = bench.bay.preferences, bench.bay.services.tones(bench.bay.preferences)
    before, refused, silent = there, 0, False
    told: asyncio.Task[bool] | None = None
    try:
        while bench.now.way and refused < MOST_REFUSALS:
            led = step.kind == "clip" and step.walk != SWITCHED and goes_on(step)
            ready = led and (step is there or await _made_ready(taker, before, step, sounds))
            if told is not None:
                kept, told = await told, None
                refused = 0 if kept else refused + 1
                if not kept:
                    bench.change(taking=None)
                    before, step = step if led else before, bench.step()
                    continue
            if not ready:
                break
            if step is not there:
                await sounds.play("ready")
            if sounds.trouble and not silent:
                silent = True
                bench.bay.tell(f"No tones: {sounds.trouble} Watch the countdown instead.", bad=True)
            outcome = await taker.clip(step, prefs.before_s if step is there else AFTER_TONE_S)
            if outcome.stopped or outcome.lost:
                return
            told = asyncio.create_task(_told(taker, step, outcome, sounds))
            before, step = step, bench.step()
        if bench.now.way:
            await sounds.play("again" if refused else "done")
    finally:
        bench.count(None)
        bench.change(way="", taking=None)


async def _made_ready(taker: Taker, before: Step | None, step: Step, sounds: Tones) -> bool:
    """Give whoever works the time to get from one step to the next; False where that was stopped."""
    prefs = taker.bench.bay.preferences
    if before is None or before.point != step.point:
        word, seconds, more = f"walk to: {point_name(step.point)}", prefs.move_s, "there"
    elif before.clip_kind == step.clip_kind:
        word, seconds, more = f"once more: {point_name(step.point)}", prefs.before_s, "ready"
    elif step.clip_kind == "quiet":
        await sounds.play("shut")
        word, seconds, more = "AIR OFF", prefs.air_s, "off"
    else:
        await sounds.play("open")
        word, seconds, more = "AIR ON, slowly, to full pressure", prefs.air_s, "full"
    return await taker.pause(step, word, seconds, f"Space: {more} already   Esc stops")


async def _told(taker: Taker, step: Step, outcome: Outcome, sounds: Tones) -> bool:
    """Check a clip and say by a tone whether it is kept; one that is not ends the walk to the next point."""
    outcome = await taker.checked(step, outcome) if outcome.clip else outcome
    if taker.bench.now.way:
        await sounds.play("kept" if outcome.kept else "again")
    if not outcome.kept:
        taker.turn_back()
    return outcome.kept


def leads() -> Lead:
    """The commands of a switched take."""
    from listen.audio.lead import Lead
    from listen.signal.switching import commanded_times

    return Lead(commanded_times(CYCLES, PERIOD_S), (CYCLES + 0.5) * PERIOD_S)


async def switched(taker: Taker, step: Step) -> None:
    """The air goes on and off while the microphone stands: one take stands for the point's walks."""
    bench = taker.bench
    try:
        outcome = await taker.clip(step, bench.bay.preferences.before_s, leads())
    finally:
        bench.change(way="")
    if outcome.clip:
        await taker.checked(step, outcome)


async def all_at_once(taker: Taker, step: Step) -> None:
    """The same with a microphone at every point: one take of all that is still due."""
    bench = taker.bench
    try:
        taken = await together(taker, step, leads())
    finally:
        bench.change(way="", taking=None)
    for at, outcome in taken:
        await taker.checked(at, outcome)


def _in_a_walk(step: Step) -> bool:
    return step.kind == "clip" and step.walk != SWITCHED


def led(step: Step, job_way: str, air_s: float) -> Way | None:
    """What Space does beyond one clip at a step, as the job's way is; None where one clip is all."""
    if step.walk == SWITCHED:
        return LED[ALL if job_way == ALL else SWITCHED]
    return LED[EACH] if job_way == EACH and step.walk in WAYS[EACH].walks and air_s else None


KEYED: tuple[Way, ...] = (Way("hands-free", "h", "Hands-free", _in_a_walk, hands_free),)
"""Beside :func:`one`, which Space does. A new way is a row here: its key, its help and its bar follow."""
LED: dict[str, Way] = {
    SWITCHED: Way(SWITCHED, "", "Air switched", lambda step: step.walk == SWITCHED, switched, "switching"),
    ALL: Way(ALL, "", "All at once", lambda step: step.walk == SWITCHED, all_at_once, "switching"),
    EACH: Way(EACH, "", "Point by point", _in_a_walk, one_point),
}
"""What Space does where it takes more than a clip, see :func:`led`."""
