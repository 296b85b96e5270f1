"""A job with findings becomes a drill: one round a cylinder whose truth a teardown showed, without any names."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import msgspec

from listen.errors import LabError, RoundError
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.job import Job, RoundRecord
from listen.jobs.to_round import to_round
from listen.lab.training.clues import clue
from listen.lab.training.drills import DrillItem, DrillSet, ItemTruth, new_set, write_drill
from listen.rounds.model import Round
from listen.trade.points import PathId


def rounds_with_truth(job: Job) -> tuple[RoundRecord, ...]:
    """Latest round with clips of every cylinder that has a finding."""
    found = []
    for cylinder in sorted(job.findings):
        with_clips = [r for r in job.rounds_of(cylinder) if r.live_clips(walk="air")]
        found += with_clips[-1:]
    return tuple(found)


def drill_from_job(opened: OpenJob, folder: Path, title: str = "") -> DrillSet:
    """Write a drill from a job's rounds with findings into ``folder`` (new).

    Titles, people, notes, devices and times stay behind; sound, loss and what the teardown showed go along. A person's
    words about the finding stay behind too: they may hold a name.

    Raises
    ------
    LabError
        No round has a finding, the folder exists, or the disk refuses.
    """
    records = rounds_with_truth(opened.job)
    if not records:
        name = opened.folder.name
        raise LabError(f"{name}: no finding recorded for a cylinder with clips; record what the teardown showed first")
    title = title or f"From a job of this shop, {len(records)} round{'s' if len(records) > 1 else ''}"
    about = "Rounds of a real job; the truth is what the teardown showed."
    if opened.job.simulated:
        about = "Rounds of a simulated job."
    with new_set(folder):
        items = [_write_item(opened, record, folder / f"{n:02d}") for n, record in enumerate(records, 1)]
        drill = DrillSet(id=folder.name, title=title, about=about, simulated=opened.job.simulated, items=tuple(items))
        return write_drill(drill, folder)


def _paths(names: tuple[str, ...]) -> tuple[PathId, ...]:
    return tuple(PathId(n) for n in names) or (PathId.NONE,)


def _write_item(opened: OpenJob, record: RoundRecord, folder: Path) -> DrillItem:
    folder.mkdir()
    paths = _paths(opened.job.findings[record.cylinder].paths)
    taken = to_round(opened.job, record.id, opened.folder)
    _copy_clips(taken, folder)
    (folder / "round.json").write_bytes(msgspec.json.encode(_bare_facts(taken)) + b"\n")
    truth = ItemTruth(paths=paths, simulated=opened.job.simulated)
    (folder / "truth.json").write_bytes(msgspec.json.encode(truth) + b"\n")
    return DrillItem(id=folder.name, focus=tuple(map(str, paths)), gave_away=clue(paths))


def _bare_facts(taken: Round) -> dict[str, object]:
    facts = msgspec.to_builtins(taken.facts)
    return {name: value for name, value in facts.items() if value is not None}


def _copy_clips(taken: Round, folder: Path) -> None:
    """Decode and write anew: only samples and rate go along, no device, no time, no name."""
    from listen.audio.files import read_clip
    from listen.audio.write import write_flac

    for take in taken.takes:
        try:
            clip = read_clip(take.path)
        except OSError as error:
            raise RoundError(f"{take.path.name}: cannot be read ({error.strerror or error})") from error
        bare = replace(clip, taken=None, device="", gain_db=None, overflows=0)
        write_flac(folder / f"{take.point}-{take.kind}-{take.order}.flac", bare)
