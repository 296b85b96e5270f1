"""What the keys of a round take: one clip, a point or a whole walk led by tones, or all points at once."""

import asyncio
from collections.abc import Awaitable, Callable

from listen.jobs.walk import Step
from listen.jobs.ways import way_of
from listen.voice.names import point_name
from tui.bridge.playback import Tones
from tui.screens.round.now import Outcome
from tui.screens.round.taker import Taker

AFTER_TONE_S = 1.0
"""Between the tone and the clip: long enough that no tone is ever in a clip."""
MOST_REFUSALS = 2
"""Led: after so many clips refused at one point somebody has to look."""


Work = Callable[[Taker, Step], Awaitable[None]]
"""What a key begins at a step; it ends by itself, or once it is stopped."""


async def by_key(taker: Taker, step: Step) -> None:
    """What one key records: a clip, or one of each point at once. They are checked while the next may begin."""
    for at, outcome in await taker.take(step, taker.bench.bay.preferences.before_s):
        if outcome.clip:
            await taker.checked(at, outcome)


async def hands_free(taker: Taker, step: Step) -> None:
    """Lead by tones through the rest of a walk; taken point by point, through all that is left."""
    every = way_of(taker.bench.opened.job.way).by_point
    await _led(taker, step, lambda due: every or due.walk == step.walk)


async def one_walk(taker: Taker, step: Step) -> None:
    """The rest of a walk. Who is at the next point says so by Space, or is there in time with no hand free."""
    await _led(taker, step, lambda due: due.walk == step.walk, there=step)


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
    check: asyncio.Task[bool] | None = None
    try:
        while bench.now.led and refused < MOST_REFUSALS:
            led = step.kind == "clip" and goes_on(step)
            # Whoever walks is on the way to the next point while the clip before it is checked.
            ready = led and (step is there or await _made_ready(taker, before, step, sounds))
            if check is not None:
                kept, check = await check, None
                refused = 0 if kept else refused + 1
                if not kept:
                    bench.change(taking=None)
                    # It is due again: what stood behind it in the walk is announced after it.
                    before, step = step if led else before, bench.step()
                    continue
            if not ready:
                break
            if step is not there:
                await sounds.play("ready")
            if sounds.trouble and not silent:
                silent = True
                bench.bay.tell(f"No tones: {sounds.trouble} Watch the countdown instead.", bad=True)
            ((_, outcome),) = await taker.take(step, prefs.before_s if step is there else AFTER_TONE_S)
            if outcome.stopped or outcome.lost:
                return
            # Waited for at the next turn: a check takes seconds, a walk to the next point longer.
            check = asyncio.create_task(_checked(taker, step, outcome, sounds))
            before, step = step, bench.step()
        if bench.now.led:
            await sounds.play("again" if refused else "done")
    finally:
        bench.count(None)
        bench.change(led=False, taking=None)


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


async def _checked(taker: Taker, step: Step, outcome: Outcome, sounds: Tones) -> bool:
    """Check a clip and say by a tone whether it is kept; one that is not ends the walk to the next point."""
    outcome = await taker.checked(step, outcome) if outcome.clip else outcome
    if taker.bench.now.led:
        await sounds.play("kept" if outcome.kept else "again")
    if not outcome.kept:
        taker.turn_back()
    return outcome.kept
