"""What must hold after any crash: the job opens, all that was acknowledged is there and whole, the rest is offered."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from listen.audio.files import read_part
from listen.durable import sha256_of
from listen.errors import ClipError, HisswayError
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import list_jobs, open_job
from tests.jobs.short import note_texts

TORN_END = ".bin"
"""How the job tells that it moved an event that was never acknowledged aside, to a file of that kind."""


@dataclass(slots=True)
class Promised:
    """What a writer had acknowledged when it was stopped."""

    job: Path | None = None
    """Folder of the job, once it was said to exist."""
    notes: set[str] = field(default_factory=set)
    clips: set[str] = field(default_factory=set)
    """Identifiers of clips said to be kept."""
    sound: dict[str, int] = field(default_factory=dict)
    """Samples of an unfinished take that must be there, by clip identifier."""

    def take(self, line: str) -> None:
        """One acknowledgement: ``job FOLDER``, ``note TEXT``, ``clip ID``, ``sound ID SAMPLES``."""
        kind, _, what = line.partition(" ")
        if kind == "job":
            self.job = Path(what)
        elif kind == "note":
            self.notes.add(what)
        elif kind == "clip":
            self.clips.add(what)
        elif kind == "sound":
            clip, samples = what.split()
            self.sound[clip] = int(samples)


def broken_promises(promised: Promised, folder: Path) -> list[str]:
    """Every promise that does not hold in ``folder``, in words; then the takes left over are brought home."""
    try:
        with open_job(folder) as opened:
            found = [*_missing(promised, opened), *_bring_home(opened)]
        rows = [row for row in list_jobs(folder.parent) if row.folder == folder.name]
    except HisswayError as error:
        return [f"the job does not open: {error}"]
    if len(rows) != 1 or rows[0].trouble:
        found.append(f"the list of jobs shows trouble: {[r.trouble for r in rows]}")
    return found


def _missing(promised: Promised, opened: OpenJob) -> list[str]:
    job = opened.job
    notes = set(note_texts(job))
    kept = {c.id: c.kept for r in job.rounds for c in r.clips}
    found = [f"note {n!r} is lost" for n in sorted(promised.notes - notes)]
    found += [f"clip {c} is lost" for c in sorted(promised.clips - set(kept))]
    for clip, facts in kept.items():
        path = opened.clip_path(clip)
        if not path.is_file() or sha256_of(path) != facts.sha256:
            found.append(f"clip {clip} is in the journal but its file is missing or not whole")
    offered = {p.clip: p for p in opened.partials()}
    for clip, samples in promised.sound.items():
        if clip not in kept:
            have = _samples(offered[clip].path) if clip in offered else -1
            if have < samples and samples > 0:
                found.append(f"take {clip} is offered with {have} samples; {samples} had arrived")
    return found + [f"trouble in the job: {t}" for t in job.troubles if not t.endswith(TORN_END)]


def _samples(part: Path) -> int:
    try:
        return len(read_part(part).samples)
    except ClipError:
        return 0


def _bring_home(opened: OpenJob) -> list[str]:
    """Adopt every take left over that holds sound, drop the others; nothing may stay behind."""
    for part in opened.partials():
        try:
            opened.keep(part, recovered=True)
        except ClipError:
            opened.drop(part)
    left = [p.path.name for p in opened.partials()]
    return [f"takes cannot be brought home: {left}"] if left else []
