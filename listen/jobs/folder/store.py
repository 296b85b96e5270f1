"""Where jobs lie on disk: the jobs' folder, a new job, opening one, the list of them; and jobs put aside.

Archive and trash are hidden folders beside the jobs that the list does not read. A folder is moved, never copied, so
nothing can be half there; only emptying the trash removes anything.
"""

import os
import re
import secrets
import shutil
import stat
from datetime import UTC, datetime
from enum import StrEnum
from itertools import chain, count
from pathlib import Path
from typing import Any

import msgspec

from listen.durable import job_errors, make_folders, read_file, replace, sync_folder
from listen.errors import JobError, JournalBroken
from listen.jobs.events import JobOpened
from listen.jobs.fold import fold
from listen.jobs.folder.chain import JOURNAL, MAX_JOURNAL_BYTES, broken_words, read_chain, read_journal
from listen.jobs.folder.journal import GENESIS, write_line
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.parts import CLIPS, PARTS
from listen.jobs.folder.turn import BenchLock, Turn
from listen.jobs.folder.witnesses import SUMMARY_SCHEMA, JobSummary, stored_summary, summarize, write_summary
from listen.own_place import own_place
from listen.plain_name import plain_name
from listen.trade.engine import Engine, layout


def jobs_root(option: str | Path | None = None) -> Path:
    """Folder of the user's jobs: the option, else ``HISSWAY_JOBS``, else the platform's user data folder.

    Raises UsageError: as :func:`listen.own_place.own_place`."""
    return own_place("jobs", "HISSWAY_JOBS", option)


def create_job(root: Path, *, title: str, engine: Engine | None = None, actor: str = "", **more: Any) -> OpenJob:
    """Take a job in: a new folder under ``root`` with its first event on disk.

    ``more`` are further fields of :class:`listen.jobs.events.JobOpened`.

    Raises JobError: the folder cannot be made or written."""
    opened = JobOpened(job=secrets.token_hex(16), title=title, engine=engine or layout("inline-4"), **more)
    first = write_line(opened, prev=GENESIS, actor=actor)
    # With some of its id: two jobs of one title and day lie side by side.
    folder = root / folder_name(title, opened.job)
    with job_errors("start a job", folder):
        make_folders(root)
        try:
            # The mode at once, not afterwards: nothing is ever open to others for a moment.
            for place in (folder, folder / CLIPS, folder / PARTS):
                place.mkdir(folder_mode(root))
            replace(folder / JOURNAL, first.raw + b"\n")  # never there without its first event
            sync_folder(root)
        except OSError:
            # A folder without a journal would stand in the list as a job that cannot be opened.
            shutil.rmtree(folder, ignore_errors=True)
            raise
    return open_job(folder, actor=actor)


def folder_mode(root: Path) -> int:
    """Who may enter a job made under ``root``: the user alone, unless ``root`` is one that others write to as well."""
    mode = stat.S_IMODE(root.stat().st_mode)
    shared = mode & 0o022 and not mode & stat.S_ISVTX  # a shop's own folder, not the system's for passing files
    return 0o700 | (mode & 0o077 if shared else 0)


def folder_name(title: str, job_id: str, opened: str = "") -> str:
    """A folder name any system takes, whatever the title holds; begins with the day the job was opened (today)."""
    day = opened[:10] if re.fullmatch(r"\d{4}-\d\d-\d\d", opened[:10]) else datetime.now(UTC).strftime("%Y-%m-%d")
    return "-".join(filter(None, (day, plain_name(title), re.sub(r"[^0-9a-f]", "", job_id)[:6])))


def free_place(root: Path, name: str) -> Path:
    """A folder of that name where there is none yet, else with the first number that is free."""
    names = chain([name], (f"{name}-{n}" for n in count(2)))
    return next(p for p in (root / one for one in names) if not p.exists() and not p.is_symlink())


def open_job(folder: Path, *, write: bool = True, bench: bool = True, actor: str = "") -> OpenJob:
    """Open a job: to write, beside other programs that have it open; at the bench, as the only one that records.

    Raises JobLocked: another program records at this engine (``bench=False`` still opens). JournalBroken: the chain
    does not hold; the message says from which event on (``write=False`` still opens what holds). JobError: not a job
    folder, or it cannot be read or written."""
    folder = Path(folder)
    if not write:
        return OpenJob(folder, read_journal(folder), None, actor)
    journal = read_journal(folder)  # before the turn: a long journal on a slow disk keeps nobody from writing
    if journal.broken:
        raise JournalBroken(broken_words(folder, journal))
    if not journal.lines:
        raise JournalBroken(f"{folder / JOURNAL}: holds no whole event; restore it from a bag or remove it")
    opened = OpenJob(folder, journal, Turn(folder), actor)
    with opened.writing(just_opened=True):
        pass  # only looked over
    if bench:
        opened.to_bench()
    return opened


def summary_of(folder: Path) -> JobSummary | None:
    """The summary of a job folder, rebuilt from the journal if need be; None where there is no journal."""
    try:
        stat = (folder / JOURNAL).stat()
    except OSError:
        return None
    known = stored_summary(folder)
    seen = (known.journal_bytes, known.journal_mtime_ns) if known else None
    fresh = known and known.schema == SUMMARY_SCHEMA and seen == (stat.st_size, stat.st_mtime_ns)
    summary = known if known and fresh else _rebuilt(folder, stat, known)
    return msgspec.structs.replace(summary, folder=folder.name)


def _rebuilt(folder: Path, stat: os.stat_result, known: JobSummary | None) -> JobSummary:
    try:
        chain = read_chain(read_file(folder / JOURNAL, MAX_JOURNAL_BYTES))
        summary = summarize(fold(chain.events()), chain, stat)
    except OSError as e:
        return JobSummary(id="", title=folder.name, trouble=f"cannot be read: {e.strerror}; check its permissions")
    except Exception as e:  # noqa: BLE001  one job that nobody understands is one line, and the list goes on
        why = f"cannot be understood ({type(e).__name__}: {e}); hissway salvage brings back the rest"
        return JobSummary(id="", title=folder.name, trouble=why)
    summary = msgspec.structs.replace(summary, title=summary.title or folder.name)
    lost = known is not None and known.events > len(chain.lines)
    if not (chain.broken or chain.torn or lost):  # else the old summary is a witness of what was there
        write_summary(folder, summary)
    return summary


def list_jobs(root: Path) -> list[JobSummary]:
    """All jobs under ``root``, the one changed last first. A root that does not exist yet holds none.

    Raises JobError: the folder cannot be read."""
    if not root.exists():
        return []
    if not root.is_dir():
        raise JobError(f"{root}: a file stands where the jobs' folder should be; choose another place with --jobs")
    with job_errors("list the jobs", root), os.scandir(root) as entries:
        folders = [Path(e.path) for e in entries if not e.name.startswith(".") and e.is_dir()]
    # Folders without a journal are no jobs: somebody's own, or one that is just being made.
    found = [s for f in folders if (s := summary_of(f)) is not None]
    return sorted(found, key=lambda s: (s.changed, s.folder), reverse=True)


SHOWN = 5
"""Jobs named where the one meant cannot be told."""


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


class Shelf(StrEnum):
    ARCHIVE = ".archive"
    TRASH = ".trash"


def empty_trash(root: Path) -> int:
    """Remove what lies in the trash for good; gives the number of jobs removed.

    Raises JobError: the disk refuses; what could not be removed is still there."""
    trash = root / Shelf.TRASH
    gone = [trash / s.folder for s in list_jobs(trash)]
    for folder in gone:
        with job_errors("remove", folder):
            shutil.rmtree(folder)
    return len(gone)


def move_job(folder: Path, to: Path) -> Path:
    """Move a job's folder to a shelf, or back among the jobs; gives its new place.

    Raises JobLocked: another program records at its engine. JobError: no such job, or the disk refuses; it is where
    it was."""
    if not folder.is_dir() or folder.is_symlink():
        raise JobError(f"{folder}: no such job; the list may be older than the disk, look again")
    lock = BenchLock(folder)
    # Taken for a moment: a job at whose engine somebody records is not moved from under the microphone.
    lock.take()
    lock.give_back()  # a folder cannot be moved on every system while a file in it is open
    # Two jobs may have had the same name at different times; neither is written over the other.
    target = free_place(to, folder.name)
    with job_errors("move the job", folder):
        make_folders(to)
        folder.rename(target)
        # Both: after a power cut the job must be in one place, neither in none nor in two.
        sync_folder(to)
        sync_folder(folder.parent)
    return target
