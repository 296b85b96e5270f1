"""What stands beside a journal and bears witness of it: its summary (``job.json``), which the list of jobs shows, and
the register beside the jobs: how far each job's journal had come when it was last written or received here.

Both are derived. A journal alone cannot show that its end was cut off, or that another was put in its place by someone
who computed all sums again. Whoever can write to the jobs' folder can change the register too; a head kept elsewhere
(reports and bags print it) is stronger.
"""

import os
import secrets
from contextlib import suppress
from pathlib import Path

import msgspec

from listen.durable import job_errors, replace, stored
from listen.jobs.events import JournalMended
from listen.jobs.folder.chain import JOURNAL, Chain
from listen.jobs.folder.journal import GENESIS, utc_now
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import Waiting, latest_round, standing, waiting
from listen.same_fields import same_fields
from listen.voice.names import STATES
from listen.voice.times import moment

SUMMARY = "job.json"
SUMMARY_SCHEMA, OLDER = "hissway.summary/5", tuple(f"hissway.summary/{n}" for n in range(1, 5))
"""An older one still tells how long the journal was, but what stands is read from the journal again."""


class JobSummary(msgspec.Struct, frozen=True, kw_only=True):
    schema: str = SUMMARY_SCHEMA
    id: str
    title: str
    shop: str = ""
    engine: str = ""
    details: str = ""
    """What the job card says, to be found by."""
    changed: str = ""
    rounds: int = 0
    judged: int = 0
    state: str = "new"
    """Identifier of a row of :data:`listen.voice.names.STATES`."""
    waiting: tuple[Waiting, ...] = ()
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
        **same_fields(job, "id", "title", "shop", "changed"),
        engine=job.engine.name or job.engine.layout,
        details=" ".join(job.details.values()),
        rounds=sum(r.begun for r in job.rounds),
        judged=sum(r.verdict is not None for r in job.rounds),
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
    states = {_round_state(r) for n in job.engine.cylinders if (r := latest_round(job, n))}
    return next((state for state in STATES if state in states), "new")


def _round_state(record: RoundRecord) -> str:
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


REGISTER = ".heads"
"""Folder of the register, beside the jobs: a file a job."""


class Head(msgspec.Struct, frozen=True, kw_only=True):
    head: str
    lines: int
    time: str
    """When it was seen here, UTC, ISO 8601."""


class Known(msgspec.Struct, frozen=True, kw_only=True):
    job: str
    last: Head


def known(folder: Path) -> Known | None:
    """What the register holds of the job in ``folder``; None where it holds nothing that can be read."""
    return stored(_place(folder), Known)


def damaged(folder: Path) -> bool:
    """Whether there is something under the job's name in the register that tells nothing, or may change unseen."""
    place = _place(folder)
    return place.is_symlink() or (place.exists() and known(folder) is None)


def note(folder: Path, job: str, chain: Chain) -> None:
    """Put the journal's present end into the register; a disk that refuses costs the register, never the job."""
    last = Head(head=chain.head, lines=len(chain.lines), time=utc_now())
    with suppress(OSError):
        _place(folder).parent.mkdir(exist_ok=True)
        # Not synced: after a crash an older register asks less, and never accuses a whole journal.
        replace(_place(folder), msgspec.json.encode(Known(job=job, last=last)), sync=False)


def missing(found: Known | None, job: str, chain: Chain) -> str:
    """What the register, read before the journal, knows and the journal does not hold, in a sentence; else empty."""
    if found is None:
        return ""
    last, seen = found.last, f"seen here on {moment(found.last.time)}"
    if found.job != job:
        return f"another job was last {seen}"
    # One head vouches for all lines before it.
    if last.head in chain.hashes():
        return ""
    if (gone := last.lines - len(chain.lines)) > 0:
        return f"{last.lines} events were {seen}; the last {gone} are gone"
    return f"event {last.lines} is not the one {seen}: another history was put in its place"


def _place(folder: Path) -> Path:
    # Beside the jobs, not in the job: what lies in the folder would be put back with it.
    jobs = folder.absolute().parent
    jobs = jobs.parent if jobs.name.startswith(".") else jobs  # put aside, a job is remembered where it was
    return jobs / REGISTER / f"{folder.absolute().name}.json"


def mend(folder: Path, chain: Chain, known: JobSummary | None, register: Known | None) -> JournalMended | None:
    """Make the file end in a whole line; gives the event that tells what was found, None where all was well.

    The summary last written here (``known``) is a witness of how long the journal was, the register another.

    Raises JobError: the disk refuses."""
    path = folder / JOURNAL
    moved_to = f"journal-torn-{secrets.token_hex(4)}.bin" if chain.torn else ""
    if chain.torn or chain.open_ended:
        with job_errors("mend the end of the journal", path):
            # Moved aside, never dropped: a torn end may hold the last words somebody typed.
            if moved_to:
                replace(folder / moved_to, chain.torn)
            replace(path, chain.data)
    witnesses = [(known.events, known.head)] if known and known.events > 0 else []
    witnesses += [(register.last.lines, register.last.head)] if register else []
    held = chain.hashes()
    gone = [lines for lines, head in witnesses if head not in held]
    missing = max(0, max(gone, default=0) - len(chain.lines))
    # As long as it was or longer, and yet without what was seen: other lines stand in its place.
    rewritten = bool(gone) and not missing
    if not (chain.torn or missing or rewritten):
        return None
    return JournalMended(moved_to=moved_to, bytes_moved=len(chain.torn), events_missing=missing, rewritten=rewritten)
