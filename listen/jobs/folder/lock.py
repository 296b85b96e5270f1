"""One program at a time records at a job's engine, and who it is."""

import getpass
import os
import socket
from contextlib import suppress
from pathlib import Path

import msgspec
from filelock import Timeout

from listen.durable import mode_in, read_file
from listen.errors import JobLocked
from listen.jobs.folder.disk import job_errors, replace
from listen.jobs.folder.journal import utc_now
from listen.jobs.folder.turn import lock_on

LOCK_NAME = ".lock"
HOLDER_NAME = ".writer.json"


class Holder(msgspec.Struct, frozen=True):
    """Who records."""

    who: str
    since: str
    host: str
    pid: int


class BenchLock:
    """Held from :meth:`take` to :meth:`give_back`; freed by the system if the program dies."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = lock_on(folder / LOCK_NAME, mode_in(folder))

    def take(self) -> None:
        """Become the one who records, or say at once who does.

        Raises JobLocked: another program (or another window of this one) has the bench. JobError: the folder cannot
        be written."""
        with job_errors("open for writing", self._folder):
            if not self._folder.is_dir():
                raise FileNotFoundError(2, "no such folder", str(self._folder))
            try:
                self._lock.acquire(blocking=False)
            except Timeout:
                raise JobLocked(_held(self._folder)) from None
        holder = Holder(_user(), utc_now(), socket.gethostname(), os.getpid())
        with suppress(OSError):  # only the courtesy is lost
            replace(self._folder / HOLDER_NAME, msgspec.json.encode(holder), sync=False)

    def give_back(self) -> None:
        """Let another record."""
        with suppress(OSError):
            (self._folder / HOLDER_NAME).unlink(missing_ok=True)
        self._lock.release()


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "someone"


def _held(folder: Path) -> str:
    try:
        h = msgspec.json.decode(read_file(folder / HOLDER_NAME, 10_000), type=Holder)
        by = f"{h.who} on {h.host} since {h.since} (process {h.pid})"
    except (OSError, msgspec.DecodeError):
        by = "another program"
    return (
        f"{folder}: {by} has this job at the engine and records there; leave the round there first. Meanwhile all but "
        "clips can be entered here"
    )
