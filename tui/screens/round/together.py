"""One take of several microphones: checked before air is fed, told while it lasts what goes wrong, a clip a point."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import msgspec

from listen.errors import DeviceLost, HisswayError
from listen.jobs.folder.parts import new_clip_id
from listen.jobs.walk import SWITCHED
from listen.voice.names import point_name
from tui.bridge.threads import in_thread
from tui.screens.channels.places import for_these
from tui.screens.round.now import Outcome
from tui.widgets.ladder import Mark

if TYPE_CHECKING:
    from listen.audio.lead import Lead
    from listen.jobs.walk import Step
    from tui.screens.round.taker import Taker

LISTEN_S = 1.5
"""Of every channel, before the take."""


async def together(taker: Taker, step: Step, lead: Lead) -> list[tuple[Step, Outcome]]:
    """Take all points that are due; gives each point's step and its clip, what ended otherwise is said."""
    bench = taker.bench
    bench.change(taking=step, outcome=None)
    try:
        return await _take(taker, step, lead)
    except HisswayError as e:
        bench.change(outcome=Outcome(False, f"{e}", lost=isinstance(e, DeviceLost)))
        return []
    finally:
        bench.count(None)
        bench.change(taking=None, mark=None)
        bench.show_changed_job()


async def _take(taker: Taker, step: Step, lead: Lead) -> list[tuple[Step, Outcome]]:
    bench = taker.bench
    places = for_these(bench.bay.preferences.channels.get(bench.listener.name, ()), bench.points())
    bench.listener.hold_all_at(places, lead.on_s)
    ready_s = max(bench.bay.preferences.before_s, LISTEN_S)
    if not await taker.pause(step, "get ready: all points", ready_s, "valve shut   get clear   Esc stops"):
        bench.change(outcome=Outcome(False, "Stopped before the take began; nothing was recorded.", stopped=True))
        return []
    if (doubt := await _doubted(taker, places)) and doubt != bench.now.doubted:
        bench.change(doubted=doubt, outcome=Outcome(False, f"{doubt} Space takes it all the same.", lead="No air yet"))
        return []
    due = {s.point for s in bench.due_takes()}
    name = new_clip_id()
    parts = [
        bench.opened.new_part(bench.round_id, p, SWITCHED, SWITCHED, lead.on_s, name) if p in due else None
        for p in places
    ]
    told: list[str] = []
    bench.change(taking=step, mark=Mark.RECORDING)
    recordings = await taker.recorded(
        lead,
        told,
        lambda tell: bench.listener.record_all([p.path if p else None for p in parts], lead.seconds, tell),
        places,
    )
    taken: list[tuple[Step, Outcome]] = []
    for part, recording in zip(parts, recordings, strict=True):
        if part is None:
            continue
        if recording is None or recording.cancelled:
            part.path.unlink(missing_ok=True)
            continue
        await in_thread(bench.opened.keep, part, recording)
        at = msgspec.structs.replace(step, point=part.point)
        taken.append((at, Outcome(True, f"Kept: {point_name(part.point)}, {recording.seconds:.1f} s.", part.clip)))
    summary = f"Kept: {len(taken)} of {len(due)} points, {lead.seconds:g} s." if taken else "Stopped; nothing was kept."
    outcome = Outcome(bool(taken), " ".join([summary, *told]), taken[-1][1].clip if taken else "", stopped=not taken)
    if taken and len(taken) < len(due):
        outcome = replace(outcome, kept=False, lead="Some points again")
    checking = tuple((o.clip, at.point, at.walk) for at, o in taken)
    bench.change(outcome=outcome, doubted="", checking=(*bench.now.checking, *checking))
    return taken


async def _doubted(taker: Taker, places: tuple[str, ...]) -> str:
    """What is wrong with a channel, in a sentence; else what they sound like is kept for the next time."""
    import numpy as np

    from listen.signal.channels import channel_faults, heard

    bench = taker.bench
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
    prints = tuple(tuple(round(float(x), 1) for x in row) for row in now.print_db)
    bench.bay.prefer(prints={**bench.bay.preferences.prints, name: prints})
    return ""
