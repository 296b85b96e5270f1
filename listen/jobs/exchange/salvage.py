"""A damaged job brought back as far as it carries its own sums, into a new job that says so."""

import re
import secrets
import shutil
from collections.abc import Iterator
from pathlib import Path

import msgspec

from listen.durable import job_errors, make_folders, read_file, replace, sync_folder, whole_file
from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.folder.chain import JOURNAL, MAX_JOURNAL_BYTES
from listen.jobs.folder.journal import GENESIS, Line, read_line, sha256, utc_now, write_line
from listen.jobs.folder.parts import CLIPS, PARTS, clip_fault
from listen.jobs.folder.store import folder_mode, folder_name
from listen.temporary_folder import temporary_folder
from listen.trade.engine import layout

_END = re.compile(rb'"prev":"[0-9a-f]{64}","sum":"[0-9a-f]{64}"\}\Z')
_ROUND = re.compile(r"c(\d{1,2})-")
WHO = "hissway"
MISSING = "its file is missing or not the one that was kept"


def salvage(source: Path, root: Path) -> tuple[Path, ev.Salvaged, int]:
    """Make a new job under ``root`` of every event and clip of ``source`` that carries its own sum.

    The damaged folder is only read. Events keep ids, times and words and are chained anew; signatures stay behind,
    since they were given for another chain. A round whose opening is lost is opened again, and a clip whose file is not
    the one that was kept is taken back. Gives the new folder, what its journal tells, and how many clips are whole.

    Raises JobError: no journal there, not one whole event in it, or the disk refuses; then nothing new is left."""
    with job_errors("read the journal", source / JOURNAL):
        data = read_file(source / JOURNAL, MAX_JOURNAL_BYTES)
    lines, lost = _whole(data)
    if not lines:
        raise JobError(f"{source / JOURNAL}: not one event carries its own sum; restore the job from a bag")
    kept = {p.clip: p for line in lines if isinstance(p := line.event.payload, ev.ClipKept)}
    there = tuple(p for p in kept.values() if not clip_fault(source, p))
    missing = tuple(clip for clip in kept if clip not in {p.clip for p in there})
    told = ev.Salvaged(
        source=source.name,
        events=len(lines),
        lines_lost=tuple(lost),
        signatures_left=sum(isinstance(line.event.payload, ev.Signed) for line in lines),
        clips_missing=missing,
    )
    with job_errors("bring a damaged job back", root):
        make_folders(root)
        with temporary_folder(".unpack-", root) as scratch:
            job = scratch / "job"
            (job / CLIPS).mkdir(parents=True)
            (job / PARTS).mkdir()
            for name in (f"{clip.clip}.flac" for clip in there):
                with (source / CLIPS / name).open("rb") as old, whole_file(job / CLIPS / name) as new:
                    # Copied, never moved: what can be told of the damaged job must stay there to be looked at.
                    shutil.copyfileobj(old, new, 1 << 20)
            opening, chained = _chained(lines, told)
            replace(job / JOURNAL, chained)
            for place in (job / CLIPS, job / PARTS, job):
                place.chmod(folder_mode(root))
                sync_folder(place)
            folder = root / folder_name(opening.title, opening.job)
            job.rename(folder)
            sync_folder(root)
    return folder, told, len(there)


def _whole(data: bytes) -> tuple[list[Line], list[int]]:
    """Lines that carry their own sum, each event once, those of merges in place; numbers of the lines that do not."""
    lines: dict[str, Line] = {}
    lost: list[int] = []
    for n, raw in enumerate(data.split(b"\n"), 1):
        if not raw:
            continue
        try:
            for line in _with_merged(raw):
                # The first counts: merges may bring the same event again.
                lines.setdefault(line.event.id, line)
        except ValueError:
            lost.append(n)
    return list(lines.values()), lost


def _with_merged(raw: bytes) -> Iterator[Line]:
    line = read_line(raw)
    if not isinstance(line.event.payload, ev.Merged):
        if _END.search(raw) is None:
            raise ValueError("not a line as this program writes them")
        yield line
        return
    for inner in line.event.payload.lines:
        if not bytes(inner).startswith(b'"'):  # else it names a line that stands elsewhere in the file
            yield from _with_merged(bytes(inner))


def _chained(lines: list[Line], told: ev.Salvaged) -> tuple[ev.JobOpened, bytes]:
    first = next((line for line in lines if isinstance(line.event.payload, ev.JobOpened)), None)
    old = first.event.payload if first else ev.JobOpened(job="", title=told.source, engine=layout("inline-4"))
    assert isinstance(old, ev.JobOpened)
    # An id of its own: the damaged job may turn up again whole, and is another.
    opening = msgspec.structs.replace(old, job=secrets.token_hex(16))
    began = lines[0].event
    raws = [write_line(opening, prev=GENESIS, actor=began.actor, time=began.time).raw]
    opened: set[str] = set()

    def add(payload: ev.Payload, time: str) -> None:
        raws.append(write_line(payload, prev=sha256(raws[-1]), actor=WHO, time=time).raw)

    for line in lines:
        payload, time = line.event.payload, line.event.time
        # The opening stands first already; a signature names a line before it that is no more.
        if isinstance(payload, ev.JobOpened | ev.Signed):
            continue
        round_id = getattr(payload, "round_id", None)
        if round_id and round_id not in opened:
            opened.add(round_id)
            if not isinstance(payload, ev.RoundOpened) and (found := _ROUND.match(round_id)):
                add(ev.RoundOpened(round_id=round_id, cylinder=int(found[1])), time)
        # As it stands, but for the line that it follows now.
        body = _END.sub(b'"prev":"' + sha256(raws[-1]).encode() + b'"}', line.raw)
        raws.append(body[:-1] + f',"sum":"{sha256(body)}"}}'.encode())
    now = utc_now()
    for clip in told.clips_missing:
        add(ev.ClipTakenBack(clip=clip, reason=MISSING), now)
    add(told, now)
    return opening, b"".join(raw + b"\n" for raw in raws)
