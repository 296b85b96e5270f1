"""Taking turns: several programs may have a job open, one at a time writes to its journal, from where the last ended,
and one records at its engine. A turn at writing lasts as long as one write; what others wrote meanwhile is read
first."""

import errno
import getpass
import os
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import msgspec
from filelock import BaseFileLock, FileLock, Timeout

from listen.durable import job_errors, mode_in, replace, stored
from listen.errors import JobLocked
from listen.jobs.folder.journal import utc_now

STILL_WRITING = (
    "another program has been writing to this job for 5 s; nothing was written; try again, or close it there"
)
WAIT_S = 5.0
"""A write takes milliseconds, on a slow network disk a second; a program that died holds no turn."""


def lock_on(path: Path, mode: int) -> BaseFileLock:
    """A lock that the system frees if the program dies; on a disk that knows none taking it fails.

    Newer versions of filelock would make do with the mere presence of a file there, which a program that died leaves
    behind, and which the file of a real lock is taken for.
    """
    try:
        return FileLock(path, mode=mode, fallback_to_soft=False)
    except TypeError:  # filelock before 4.0 has no such thing
        return FileLock(path, mode=mode)


class _Lock:
    name: str

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = lock_on(folder / self.name, mode_in(folder))

    def _acquire(self, action: str, wait_s: float, held: Callable[[], str]) -> None:
        with job_errors(action, self._folder):
            # filelock would make the folder anew: a job that was moved away would leave an empty one behind.
            if not self._folder.is_dir():
                raise FileNotFoundError(2, "no such folder", str(self._folder))
            try:
                # Asked for often: a turn lasts milliseconds, and a person waits for it.
                self._lock.acquire(timeout=wait_s, poll_interval=0.01)
            except Timeout:
                raise JobLocked(f"{self._folder}: {held()}") from None
            except NotImplementedError as e:  # filelock before 4.0, where the disk knows no locks
                raise OSError(errno.ENOLCK, str(e)) from e


class Turn(_Lock):
    name = ".turn"

    @contextmanager
    def taken(self) -> Iterator[None]:
        """Hold the turn; the same thread may take it again inside.

        Raises JobLocked: another program has been writing all the while. JobError: the folder cannot be written, or
        is on a disk that knows no locks."""
        self._acquire("write to the job", WAIT_S, lambda: STILL_WRITING)
        try:
            yield
        finally:
            self._lock.release()


HOLDER_NAME = ".writer.json"


class BenchLock(_Lock):
    """Held from :meth:`take` to :meth:`give_back`; freed by the system if the program dies."""

    name = ".lock"

    def take(self) -> None:
        """Become the one who records, or say at once who does.

        Raises JobLocked: another program (or another window of this one) has the bench. JobError: the folder cannot
        be written."""
        self._acquire("open for writing", 0.0, lambda: _held_by(self._folder))
        holder = f"{_user()} on {socket.gethostname()} since {utc_now()} (process {os.getpid()})"
        with suppress(OSError):  # only the courtesy is lost
            replace(self._folder / HOLDER_NAME, msgspec.json.encode(holder), sync=False)

    def give_back(self) -> None:
        # Before the lock goes: afterwards the name there may be the next one's.
        with suppress(OSError):
            (self._folder / HOLDER_NAME).unlink(missing_ok=True)
        self._lock.release()


def _user() -> str:
    try:
        return getpass.getuser()
    # A container may run as a user without a name, Windows without the module that would know it.
    except (OSError, KeyError, ImportError):
        return "someone"


def _held_by(folder: Path) -> str:
    by = stored(folder / HOLDER_NAME, str, 10_000) or "another program"
    return (
        f"{by} has this job at the engine and records there; leave the round there first. Meanwhile all but "
        "clips can be entered here"
    )
