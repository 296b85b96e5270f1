"""Which microphones record a step, and whether those of several channels are as they were before air is fed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from listen.jobs.ways import way_of
from listen.voice.names import point_name
from tui.bridge.threads import in_thread
from tui.screens.channels.places import for_these

if TYPE_CHECKING:
    from collections.abc import Sequence

    from listen.jobs.walk import Step
    from tui.screens.round.bench import Bench

LISTEN_S = 1.5
"""Of every channel, before the take."""


def microphones(bench: Bench, step: Step) -> Sequence[str]:
    """The point of each channel (empty: unused) where every point has its own; else where the one microphone stands."""
    places: Sequence[str] = ()
    if way_of(bench.opened.job.way).by_key == "all":
        places = for_these(bench.bay.preferences.channels.get(bench.listener.name, ()), bench.points())
    return places if step.point in places else (step.point,)


async def doubted(bench: Bench, places: Sequence[str]) -> str:
    """What is wrong with a channel, in a sentence; else what they sound like is kept for the next time."""
    import numpy as np

    from listen.signal.channels import channel_faults, heard

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
