"""``job.json``: what the list of jobs shows of each, derived from the journal and rebuilt whenever it does not fit;
and the job somebody means on the command line."""

import os
from contextlib import suppress
from pathlib import Path

import msgspec

from listen.durable import read_file
from listen.errors import JobError
from listen.jobs.fold import fold
from listen.jobs.folder.chain import JOURNAL, MAX_JOURNAL_BYTES, Chain, read_chain
from listen.jobs.folder.disk import job_errors, replace, stored
from listen.jobs.folder.journal import GENESIS
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import Waiting, latest_round, standing, waiting
from listen.same_fields import same_fields
from listen.voice.names import STATES

SUMMARY = "job.json"
SUMMARY_SCHEMA, OLDER = "hissway.summary/4", ("hissway.summary/1", "hissway.summary/2", "hissway.summary/3")
"""An older one still tells how long the journal was, but what stands is read from the journal again."""


class JobSummary(msgspec.Struct, frozen=True, kw_only=True):
    schema: str = SUMMARY_SCHEMA
    id: str
    title: str
    shop: str = ""
    engine: str = ""
    details: str = ""
    """What the job card says, to be found by."""
    opened: str = ""
    changed: str = ""
    cylinders: int = 0
    rounds: int = 0
    judged: int = 0
    signed: int = 0
    clips: int = 0
    state: str = "new"
    """Identifier of a row of :data:`listen.voice.names.STATES`."""
    waiting: tuple[Waiting, ...] = ()
    simulated: bool = False
    trouble: str = ""
    """Why the job could not be read whole; empty where all is well."""
    events: int = 0
    head: str = GENESIS
    """Hash of the last line; a journal that ends before it has lost something."""
    journal_bytes: int = 0
    journal_mtime_ns: int = 0
    folder: str = ""
    """Name of the job's folder; set when read."""


def summarize(job: Job, chain: Chain, stat: os.stat_result | None) -> JobSummary:
    return JobSummary(
        **same_fields(job, "id", "title", "shop", "opened", "changed", "simulated"),
        engine=job.engine.name or job.engine.layout,
        details=" ".join(job.details.values()),
        cylinders=len(job.engine.cylinders),
        rounds=sum(r.begun for r in job.rounds),
        judged=sum(r.verdict is not None for r in job.rounds),
        signed=sum(r.signed for r in job.rounds),
        clips=sum(len(r.live_clips()) for r in job.rounds),
        state=_state(job),
        waiting=waiting(job),
        trouble=chain.broken,
        events=len(chain.lines),
        head=chain.head,
        journal_bytes=stat.st_size if stat else 0,
        journal_mtime_ns=stat.st_mtime_ns if stat else 0,
    )


def _state(job: Job) -> str:
    """What the job waits for: of its cylinders the one that needs a hand first."""
    latest = [r for n in job.engine.cylinders if (r := latest_round(job, n))]
    if not latest:
        return "new"
    states = {_round_state(job, r) for r in latest}
    return next(state for state in STATES if state in states)


def _round_state(job: Job, record: RoundRecord) -> str:
    stands = standing(record)
    # First: what was signed and is no longer what was signed needs a person before anything else.
    if stands.changed:
        return "changed"
    if stands.how == "sent-back" and not stands.request_met:
        return "sent-back"
    if stands.by == "nobody" or (stands.stale and stands.by == "program"):
        return "recording"
    if stands.waits:
        return "cannot-tell" if stands.kind == "unclear" else "to-confirm"
    return "signed" if record.signed else "confirmed"


def write_summary(folder: Path, summary: JobSummary) -> None:
    """Put the summary in place; it is derived, so a disk that refuses costs nothing but time at the next listing."""
    with suppress(OSError):
        replace(folder / SUMMARY, msgspec.json.encode(summary), sync=False)


def stored_summary(folder: Path) -> JobSummary | None:
    """The summary on disk, or None where it is missing, damaged or of another form."""
    summary = stored(folder / SUMMARY, JobSummary)
    return summary if summary and summary.schema in (SUMMARY_SCHEMA, *OLDER) else None


def summary_of(folder: Path) -> JobSummary | None:
    """The summary of a job folder, rebuilt from the journal if need be; None where there is no journal."""
    try:
        stat = (folder / JOURNAL).stat()
    except OSError:
        return None
    known = stored_summary(folder)
    seen = (known.journal_bytes, known.journal_mtime_ns) if known else None
    if known and known.schema == SUMMARY_SCHEMA and seen == (stat.st_size, stat.st_mtime_ns):
        return msgspec.structs.replace(known, folder=folder.name)
    return _rebuilt(folder, stat, known)


def _rebuilt(folder: Path, stat: os.stat_result, known: JobSummary | None) -> JobSummary:
    unread = JobSummary(id="", title=folder.name, folder=folder.name)
    try:
        chain = read_chain(read_file(folder / JOURNAL, MAX_JOURNAL_BYTES))
        summary = summarize(fold(chain.events()), chain, stat)
    except OSError as e:
        return msgspec.structs.replace(unread, trouble=f"cannot be read: {e.strerror}; check its permissions")
    except Exception as e:  # noqa: BLE001  one job that nobody understands is one line, and the list goes on
        why = f"cannot be understood ({type(e).__name__}: {e}); hissway salvage brings back the rest"
        return msgspec.structs.replace(unread, trouble=why)
    summary = msgspec.structs.replace(summary, title=summary.title or folder.name)
    lost = known is not None and known.events > len(chain.lines)
    if not (chain.broken or chain.torn or lost):  # else the old summary is a witness of what was there
        write_summary(folder, summary)
    return msgspec.structs.replace(summary, folder=folder.name)


def list_jobs(root: Path) -> list[JobSummary]:
    """All jobs under ``root``, the one changed last first. A root that does not exist yet holds none.

    Raises JobError: the folder cannot be read."""
    if not root.exists():
        return []
    if not root.is_dir():
        raise JobError(f"{root}: a file stands where the jobs' folder should be; choose another place with --jobs")
    with job_errors("list the jobs", root), os.scandir(root) as entries:
        folders = [Path(e.path) for e in entries if not e.name.startswith(".") and e.is_dir()]
    found = [s for f in folders if (s := summary_of(f)) is not None]
    return sorted(found, key=lambda s: (s.changed, s.folder), reverse=True)


SHOWN = 5


def find_job(wanted: str, root: Path) -> Path:
    """Give the folder: a path as it is, else the only job under ``root`` whose folder name or id begins so.

    Raises JobError: none, or more than one; the message names some."""
    if wanted and Path(wanted).is_dir():
        return Path(wanted)
    rows = list_jobs(root)
    exact = [r for r in rows if r.folder == wanted]
    fits = exact or [r for r in rows if wanted and (r.folder.startswith(wanted) or r.id.startswith(wanted))]
    if len(fits) == 1:
        return root / fits[0].folder
    names = ", ".join(r.folder for r in (fits or rows)[:SHOWN])
    if fits:
        raise JobError(f"{wanted!r} may be any of {len(fits)} jobs under {root}: {names}; give more of the name")
    known = f"the latest there: {names}" if names else "there are none yet"
    raise JobError(f"{wanted!r}: no such folder, and no such job under {root}; {known}")
