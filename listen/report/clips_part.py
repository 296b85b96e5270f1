"""The record of all clips of a job, each checked against its hash."""

from pathlib import Path

from listen.jobs.folder.disk import sha256_of
from listen.jobs.folder.parts import CLIPS, is_clip_id
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.report.content import ClipPart
from listen.voice import names, times


def clip_file(folder: Path, clip_id: str) -> Path | None:
    """The sound file of a clip, or None where the identifier cannot be a file name."""
    return folder / CLIPS / f"{clip_id}.flac" if is_clip_id(clip_id) else None


def clip_parts(job: Job, folder: Path) -> tuple[ClipPart, ...]:
    """Every clip, those taken back included."""
    return tuple(_part(r, c, folder) for r in job.rounds for c in r.clips)


def _part(record: RoundRecord, c: ClipRecord, folder: Path) -> ClipPart:
    k = c.kept
    return ClipPart(
        clip=c.id,
        round_id=record.id,
        cylinder=record.cylinder,
        point=names.point_name(k.point),
        kind=k.clip_kind,
        walk=k.walk,
        take=k.take,
        seconds=round(k.seconds, 2),
        rate_hz=k.rate_hz,
        device=k.device,
        started=times.moment_and_zone(k.started or c.time),
        sha256=k.sha256,
        file=_state(folder, c),
        note="; ".join(_notes(c)),
    )


def _state(folder: Path, c: ClipRecord) -> str:
    path = clip_file(folder, c.id)
    try:
        if path is None or not path.is_file():
            return "missing"
        return "matches" if sha256_of(path) == c.kept.sha256 else "differs"
    except OSError:
        return "missing"


def _notes(c: ClipRecord) -> list[str]:
    k = c.kept
    said = [f"taken back{': ' + c.reason if c.reason else ''}"] if c.taken_back else []
    said += ["saved from a cut-short take"] if k.recovered else []
    said += [f"made from {k.imported_from}"] if k.imported_from else []
    said += [f"{len(k.gaps)} gap(s)"] if k.gaps else []
    said += [f"{k.overflows} overflow(s)"] if k.overflows else []
    return said
