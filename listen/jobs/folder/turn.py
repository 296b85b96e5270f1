"""Taking turns: several programs may have a job open, one at a time writes to its journal, from where the last ended,
and one records at its engine. A turn at writing lasts as long as one write; what others wrote meanwhile is read
first."""

import errno
import getpass
import os
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import msgspec
from filelock import BaseFileLock, FileLock, Timeout

from listen.durable import job_errors, mode_in, replace, stored
from listen.errors import JobError, JobLocked
from listen.jobs.events import Merged
from listen.jobs.folder.chain import JOURNAL, Base, Chain, own_lines, read_chain, read_journal
from listen.jobs.folder.journal import Line, utc_now

TURN = ".turn"
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
    name = TURN

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


def news(folder: Path, lines: Sequence[Line], size: int) -> tuple[Chain, bool]:
    """What a journal holds beyond ``lines`` (its first ``size`` bytes), and whether only they were added.

    Where more than that happened (a merge, a journal taken over) the chain is the whole of it.

    Raises JobError: the journal cannot be read, does not hold, or is not a longer history of the same job."""
    path = folder / JOURNAL
    # What was added only: screens look every second, and to read a whole journal costs its length.
    with job_errors("read the journal", path), path.open("rb") as file:
        file.seek(size)
        tail = read_chain(file.read(), Base(start=lines[-1].hash, before=frozenset(one.hash for one in lines)))
    # A merge may put events before some that were folded already: then the whole counts anew.
    added = tail.lines and not any(isinstance(one.event.payload, Merged) for one in tail.lines)
    if not tail.broken and (added or tail.torn):
        return tail, True
    whole = read_journal(folder)
    held = {one.hash for one in own_lines(whole.lines)}
    if whole.broken or any(one.hash not in held and not _held(one, held) for one in lines):
        raise JobError(
            f"{path}: is not the journal that was opened, nor one that goes on from it: another program wrote to it, "
            "or a copy was put in its place; nothing was written; open the job again"
        )
    return whole, False


def _held(merge: Line, held: set[str]) -> bool:
    """Whether a merge that stands nowhere brought in nothing that does not."""
    return isinstance(merge.event.payload, Merged) and all(one.hash in held for one in own_lines(merge.inner))


LOCK_NAME = ".lock"
HOLDER_NAME = ".writer.json"


class Holder(msgspec.Struct, frozen=True):
    who: str
    since: str
    host: str
    pid: int


class BenchLock(_Lock):
    """Held from :meth:`take` to :meth:`give_back`; freed by the system if the program dies."""

    name = LOCK_NAME

    def take(self) -> None:
        """Become the one who records, or say at once who does.

        Raises JobLocked: another program (or another window of this one) has the bench. JobError: the folder cannot
        be written."""
        self._acquire("open for writing", 0.0, lambda: _held_by(self._folder))
        holder = Holder(_user(), utc_now(), socket.gethostname(), os.getpid())
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
    h = stored(folder / HOLDER_NAME, Holder, 10_000)
    by = f"{h.who} on {h.host} since {h.since} (process {h.pid})" if h else "another program"
    return (
        f"{by} has this job at the engine and records there; leave the round there first. Meanwhile all but "
        "clips can be entered here"
    )
