"""Jobs as they may be met: nothing yet, in the middle of a round, judged, decided, sent back, signed, changed since."""

from __future__ import annotations

import random
import sys
from pathlib import Path

import msgspec

sys.path.insert(0, str(Path(__file__).parents[1] / "tui"))  # the pilots' helpers

from fakes import result_for

from listen.jobs import events as ev
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job
from listen.jobs.ways import WAYS
from listen.trade.engine import layout
from tests.jobs.short import begin_round

ENGINES = (
    msgspec.structs.replace(layout("single"), cooling="liquid"),
    layout("single"),
    layout("inline-4"),
    layout("v6"),
    layout("flat-4"),
)
POINTS = ("intake", "tailpipe", "oil-filler")


def any_job(rng: random.Random, root: Path, title: str = "Any") -> None:
    """One of them, with clips of noise where it holds some."""
    with create_job(
        root, title=title, engine=rng.choice(ENGINES), pressure_unit=rng.choice(("kPa", "psi", "bar"))
    ) as j:
        if rng.random() < 0.7:
            j.append(ev.WayChosen(way=rng.choice(tuple(WAYS))))
        if rng.random() < 0.3:
            return
        for cylinder in j.job.engine.cylinders[: rng.randint(1, 2)]:
            _any_round(rng, j, cylinder)
        if rng.random() < 0.4:
            j.append(ev.PlugSeen(cylinder=1, conditions=("tan-dry",)), ev.NoteAdded(text="washer was missing"))


def _any_round(rng: random.Random, j: OpenJob, cylinder: int) -> None:
    """A round that got so far by chance."""
    round_id = begin_round(j, cylinder)
    if rng.random() < 0.7:
        j.append(ev.CautionAcknowledged(caution="set-up", round_id=round_id))
        j.append(ev.ReadingEntered(reading="supply", value=550, unit="kPa", si=550))
    if rng.random() < 0.5:
        j.append(ev.StepPassed(round_id=round_id, step="loss", reason="no gauge"))
        j.append(ev.PointSkipped(round_id=round_id, point="intake", walk="closing", reason="no time"))
    if rng.random() < 0.5:
        return
    for point in POINTS[: rng.randint(1, 3)]:
        for walk, kind in (("quiet", "quiet"), ("air", "air")):
            _clip(j, round_id, point, walk, kind)
    j.append(ev.ByEarCalled(round_id=round_id, role="tech", paths=("rings",)))
    clips = tuple(c.id for c in j.job.round(round_id).live_clips())
    j.append(ev.Judged(round_id=round_id, result=result_for(list(POINTS)), clips=clips))
    match rng.randint(0, 4):
        case 0:
            j.append(ev.Confirmed(round_id=round_id, name="Bo"))
        case 1:
            j.append(ev.Overruled(round_id=round_id, name="Bo", paths=("rings",), reason="heard it"))
        case 2:
            j.append(ev.SentBack(round_id=round_id, name="Bo", point="tailpipe", clip_kind="air", reason="too short"))
    if rng.random() < 0.5:
        j.append(ev.Signed(round_id=round_id, name="Bo", role="supervisor", statement="", head=j.chain.head))
        if rng.random() < 0.5:
            j.append(ev.ClipTakenBack(clip=clips[-1], reason="slip"))


def _clip(j: OpenJob, round_id: str, point: str, walk: str, kind: str) -> None:
    import numpy as np

    from listen.audio.write import write_clip
    from listen.signal.clip import Clip

    part = j.new_part(round_id, point, kind, walk)
    noise = np.random.default_rng(1).standard_normal(4_800).astype(np.float32) * 0.01
    file = j.folder.parent.parent / f"{part.clip}.flac"
    write_clip(file, Clip.of(noise, 48_000))
    j.keep_file(file, part)
    file.unlink()
