"""Jobs put aside: an archive and a trash beside the jobs, both hidden folders that the list of jobs does not read.

A folder is moved, never copied, so nothing can be half there; only emptying the trash removes anything.
"""

import shutil
from enum import StrEnum
from pathlib import Path

from listen.durable import sync_folder
from listen.errors import JobError
from listen.jobs.folder.disk import job_errors, make_folders
from listen.jobs.folder.summary import JobSummary, list_jobs
from listen.jobs.folder.turn import BenchLock


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
    target = to / folder.name
    number = 2
    while target.exists():
        target, number = to / f"{folder.name}-{number}", number + 1
    with job_errors("move the job", folder):
        make_folders(to)
        folder.rename(target)
        sync_folder(to)
        sync_folder(folder.parent)
    return target
