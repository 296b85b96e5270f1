"""Where jobs lie on disk: the jobs' folder, a new job, opening one; and jobs put aside.

Archive and trash are hidden folders beside the jobs that the list does not read. A folder is moved, never copied, so
nothing can be half there; only emptying the trash removes anything.
"""

import os
import re
import secrets
import shutil
from datetime import UTC, datetime
from enum import StrEnum
from itertools import chain, count
from pathlib import Path
from typing import Any

from listen.durable import sync_folder
from listen.errors import JobError, JournalBroken
from listen.jobs.events import JobOpened
from listen.jobs.folder.chain import JOURNAL, broken_words, read_journal
from listen.jobs.folder.disk import at_home, folder_mode, job_errors, make_folders, replace
from listen.jobs.folder.journal import GENESIS, write_line
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.parts import CLIPS, PARTS
from listen.jobs.folder.summary import JobSummary, list_jobs
from listen.jobs.folder.turn import BenchLock, Turn
from listen.plain_name import plain_name
from listen.trade.engine import Engine, layout

__all__ = ["JobSummary", "OpenJob", "create_job", "jobs_root", "list_jobs", "open_job"]


def jobs_root(option: str | Path | None = None) -> Path:
    """Folder of the user's jobs: the option, else ``HISSWAY_JOBS``, else the platform's user data folder.

    Raises UsageError: as :func:`listen.jobs.folder.disk.at_home`."""
    if chosen := option or os.environ.get("HISSWAY_JOBS"):
        return at_home(chosen)
    import platformdirs  # only where nobody chose

    return platformdirs.user_data_path("hissway", appauthor=False) / "jobs"


def create_job(root: Path, *, title: str, engine: Engine | None = None, actor: str = "", **more: Any) -> OpenJob:
    """Take a job in: a new folder under ``root`` with its first event on disk.

    ``more`` are further fields of :class:`listen.jobs.events.JobOpened`.

    Raises JobError: the folder cannot be made or written."""
    opened = JobOpened(job=secrets.token_hex(16), title=title, engine=engine or layout("inline-4"), **more)
    first = write_line(opened, prev=GENESIS, actor=actor)
    folder = root / folder_name(title, opened.job)
    with job_errors("start a job", folder):
        make_folders(root)
        try:
            for place in (folder, folder / CLIPS, folder / PARTS):
                place.mkdir(folder_mode(root))
            replace(folder / JOURNAL, first.raw + b"\n")  # never there without its first event
            sync_folder(root)
        except OSError:
            # A folder without a journal would stand in the list as a job that cannot be opened.
            shutil.rmtree(folder, ignore_errors=True)
            raise
    return open_job(folder, actor=actor)


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
    opened.look_over()
    if bench:
        opened.to_bench()
    return opened


class Shelf(StrEnum):
    ARCHIVE = ".archive"
    TRASH = ".trash"


def put_aside(root: Path, name: str, shelf: Shelf) -> Path:
    """Move a job to a shelf; gives its new place.

    Raises JobLocked: another program records at its engine. JobError: no such job, or the disk refuses; it is where
    it was."""
    return _move(root / name, root / shelf)


def take_back(root: Path, name: str, shelf: Shelf) -> Path:
    """Move a job from a shelf back among the jobs. Raises as :func:`put_aside`."""
    return _move(root / shelf / name, root)


def on_shelf(root: Path, shelf: Shelf) -> list[JobSummary]:
    """The jobs there, the one changed last first."""
    return list_jobs(root / shelf)


def empty_trash(root: Path) -> int:
    """Remove what lies in the trash for good; gives the number of jobs removed.

    Raises JobError: the disk refuses; what could not be removed is still there."""
    trash = root / Shelf.TRASH
    gone = [trash / s.folder for s in on_shelf(root, Shelf.TRASH)]
    for folder in gone:
        with job_errors("remove", folder):
            shutil.rmtree(folder)
    return len(gone)


def _move(folder: Path, to: Path) -> Path:
    if not folder.is_dir() or folder.is_symlink():
        raise JobError(f"{folder}: no such job; the list may be older than the disk, look again")
    lock = BenchLock(folder)
    lock.take()
    lock.give_back()  # a folder cannot be moved on every system while a file in it is open
    # Two jobs may have had the same name at different times; neither is written over the other.
    target = free_place(to, folder.name)
    with job_errors("move the job", folder):
        make_folders(to)
        folder.rename(target)
        sync_folder(to)
        sync_folder(folder.parent)
    return target
