"""Ways of taking the clips of a walk: a row each, with its key, where it is offered, and what it does."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from listen.jobs.walk import SWITCHED
from listen.jobs.ways import ALL
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
"""Hands-free: after so many clips refused at one point somebody has to look."""


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
    outcome = await taker.clip(step, taker.bench.preferences.before_s)
    if outcome.clip:
        await taker.checked(step, outcome)


async def hands_free(taker: Taker, step: Step) -> None:
    """Lead through the rest of a walk by tones: move, tone, clip. The step announced is the step recorded.

    A clip is checked while one walks on; where it is refused the way back is announced at once.
    """
    bench = taker.bench
    prefs, sounds = bench.preferences, bench.services.tones(bench.preferences)
    walk, refused, silent = step.walk, 0, False
    told: asyncio.Task[bool] | None = None
    try:
        while bench.now.way and refused < MOST_REFUSALS:
            led = step.kind == "clip" and step.walk == walk
            word = f"walk to: {point_name(step.point)}"
            there = led and await taker.pause(step, word, prefs.move_s, "Space: there already   Esc stops")
            if told is not None:
                kept, told = await told, None
                refused = 0 if kept else refused + 1
                if not kept:
                    bench.change(taking=None)
                    step = bench.step()
                    continue
            if not there:
                break
            await sounds.play("ready")
            if sounds.trouble and not silent:
                silent = True
                bench.tell(f"No tones: {sounds.trouble} Watch the countdown instead.", bad=True)
            outcome = await taker.clip(step, AFTER_TONE_S)
            if outcome.stopped or outcome.lost:
                return
            told = asyncio.create_task(_told(taker, step, outcome, sounds))
            step = bench.step()
        if bench.now.way:
            await sounds.play("again" if refused else "done")
    finally:
        bench.count(None)
        bench.change(way="", taking=None)


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
        outcome = await taker.clip(step, bench.preferences.before_s, leads())
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


KEYED: tuple[Way, ...] = (Way("hands-free", "h", "Hands-free", _in_a_walk, hands_free),)
"""Beside :func:`one`, which Space does. A new way is a row here: its key, its help and its bar follow."""
LED: tuple[Way, ...] = (
    Way(SWITCHED, "", "Air switched", lambda step: step.walk == SWITCHED, switched, "switching"),
    Way(ALL, "", "All at once", lambda step: step.walk == SWITCHED, all_at_once, "switching"),
)
"""What Space does at a switched take, as the job's way is."""
