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

AIR_ON = ("air", "switched")
"""Clips in which the air of the cylinder under test is heard."""
OF_THE_TEST = ("set-up", "fitting")
"""Verdicts about how the test was made: what a teardown shows was not what such a round heard."""


def rounds_with_truth(job: Job) -> tuple[tuple[RoundRecord, ...], dict[int, str]]:
    """Of every cylinder with a finding the last round before it, where the finding is the truth of that round.

    Returns
    -------
    rounds
        Those that can be learnt from.
    left_out
        Why a cylinder has none, by number.
    """
    taken, left_out = [], {}
    for cylinder in sorted(job.findings):
        before = job.before_finding.get(cylinder, ())
        last = job.round(before[-1].id) if before else None
        if (why := _unfit(last)) is not None or last is None:
            left_out[cylinder] = why or "no round was made before the teardown"
        else:
            taken.append(last)
    return tuple(taken), left_out


def _unfit(record: RoundRecord | None) -> str | None:
    if record is None:
        return "no round was made before the teardown"
    if not any(c.kept.clip_kind in AIR_ON for c in record.live_clips()):
        return "its last round before the teardown has no clip with the air on"
    if record.verdict is None or record.stale:
        return "its last round before the teardown was not judged to its end"
    kind = record.verdict.result.verdict.kind
    if kind in OF_THE_TEST:
        return f"its last round before the teardown was a {kind} to be mended, not what the teardown showed"
    return None


def drill_from_job(opened: OpenJob, folder: Path, title: str = "") -> tuple[DrillSet, dict[int, str]]:
    """Write a drill from a job's rounds with findings into ``folder`` (new); gives it and why cylinders were left out.

    Titles, people, notes, devices and times stay behind; sound, loss and what the teardown showed go along. A person's
    words about the finding stay behind too: they may hold a name.

    Raises
    ------
    LabError
        No round has a finding, the folder exists, or the disk refuses.
    """
    records, left_out = rounds_with_truth(opened.job)
    if not records:
        why = "; ".join(f"cylinder {n}: {w}" for n, w in left_out.items()) or "record what the teardown showed first"
        raise LabError(f"{opened.folder.name}: no finding recorded that a round can be held against; {why}")
    title = title or f"From a job of this shop, {len(records)} round{'s' if len(records) > 1 else ''}"
    about = "Rounds of a real job; the truth is what the teardown showed."
    if opened.job.simulated:
        about = "Rounds of a simulated job."
    with new_set(folder):
        items = [_write_item(opened, record, folder / f"{n:02d}") for n, record in enumerate(records, 1)]
        drill = DrillSet(id=folder.name, title=title, about=about, simulated=opened.job.simulated, items=tuple(items))
        return write_drill(drill, folder), left_out


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
