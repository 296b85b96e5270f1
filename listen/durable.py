"""Bytes that must survive: files that appear whole or not at all, names that survive a power cut, adding, cutting and
replacing; reading only what is a file; every failure of a job's disk told in one sentence."""

import errno
import hashlib
import os
import re
import secrets
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, TypeVar

import msgspec

from listen.errors import JobError

T = TypeVar("T")
A_DAY_S = 86_400.0
HELD_OPEN_S = 2.0
"""A virus scanner, or a second window that reads the file, lets go of it within tenths of a second. Judgement: nobody
has measured it on Windows."""
_PASSING = re.compile(r"\.hissway-[0-9a-f]{16}\.tmp")
"""Names of files that are not whole yet; nobody can guess one and lay a link there beforehand."""
NO_LOCKS = "the disk knows no locks, so two programs could write at once; copy the job to another, or only read it here"
_WHY = {
    errno.ENOSPC: "the disk is full; make room and try again",
    errno.EDQUOT: "your share of the disk is used up; make room and try again",
    errno.EROFS: "the disk is read-only; choose another place",
    errno.EACCES: "you have no permission for that; ask its owner, or choose another place",
    errno.EPERM: "you have no permission for that; ask its owner, or choose another place",
    errno.ENOENT: "the folder or file is gone, or was never there; was it moved, or a drive pulled out?",
    errno.ENOTDIR: "a file stands where a folder should be",
    errno.ENOLCK: NO_LOCKS,
    errno.ENOSYS: NO_LOCKS,
    errno.EIO: "the disk reports an error; copy your jobs to another one",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
    errno.EMFILE: "too many files are open; close other programs",
}


@contextmanager
def whole_file(path: Path, *, sync: bool = True, mode: int | None = None) -> Iterator[BinaryIO]:
    """A file to fill, under a passing name beside ``path``; it takes that name, in place of what had it, at the end.

    Where anything goes wrong inside, nothing is left behind and ``path`` is as it was. With ``sync``, content and
    name are on the disk when the block is left. ``mode`` as :func:`new_file` has it.

    Raises OSError: the disk is full, or the folder cannot be written."""
    passing = path.with_name(f".hissway-{secrets.token_hex(8)}.tmp")
    try:
        with os.fdopen(new_file(passing, read_too=True, mode=mode), "wb+") as file:
            yield file
            if sync:
                file.flush()
                os.fsync(file.fileno())
        _take_name(passing, path)
    except BaseException:
        remove_if_possible(passing)  # what went wrong first is what is told
        raise
    if sync:
        sync_folder(path.parent)


def _take_name(passing: Path, path: Path) -> None:
    """Put a file in place of another. Windows refuses that while any program has the other open, if only to read it."""
    end = time.monotonic() + HELD_OPEN_S
    while True:
        try:
            passing.replace(path)
            return
        except PermissionError:
            if os.name != "nt" or time.monotonic() > end:
                raise
            time.sleep(0.02)


def new_file(path: Path, *, read_too: bool = False, mode: int | None = None) -> int:
    """A new file's descriptor; nothing that is there is opened, and no link followed (``FileExistsError``).

    Without a ``mode``, whoever may look into the folder may read the file: what lies in a private one stays private.
    """
    access = os.O_RDWR if read_too else os.O_WRONLY
    mode = mode_in(path.parent) if mode is None else mode
    return os.open(path, access | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)


def mode_in(folder: Path) -> int:
    """Who may read and write a file in a folder: whoever may do so there."""
    try:
        return (stat.S_IMODE(folder.stat().st_mode) & 0o666) | 0o600
    except OSError:
        return 0o600


def remove_if_possible(path: Path) -> bool:
    """Remove a file; False where the system will not let it go now (a scanner holds it, the disk fails)."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def sweep(folder: Path, older_s: float = 0.0) -> None:
    """Remove what writers killed half-way left under passing names at least ``older_s`` ago."""
    with suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if _PASSING.fullmatch(entry.name) and age_s(path := Path(entry.path)) >= older_s:
                remove_if_possible(path)


def age_s(path: Path) -> float:
    """Seconds since a file was last written, a link's own; below any limit where that cannot be told."""
    try:
        return time.time() - path.lstat().st_mtime
    except OSError:
        return -1.0


def read_file(path: Path, most_bytes: int) -> bytes:
    """What a file holds, at most ``most_bytes``; a pipe or device under that name is not waited for.

    Raises OSError: not there, not readable, no file (``EINVAL``), or larger (``EFBIG``)."""
    fd = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(fd, "rb") as file:
        found = os.fstat(fd)
        if not stat.S_ISREG(found.st_mode):
            raise OSError(errno.EINVAL, "a folder, pipe or device where a file should be", str(path))
        if found.st_size > most_bytes:
            raise OSError(errno.EFBIG, f"{found.st_size} bytes; at most {most_bytes} are read", str(path))
        return file.read(most_bytes)


def sync_folder(folder: Path) -> None:
    """Make new names in a folder survive a power cut (where the system has such a thing)."""
    if os.name == "nt":  # Windows cannot open a folder to sync it; NTFS journals its names
        return
    fd = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


@contextmanager
def job_errors(action: str, path: Path) -> Iterator[None]:
    """Turn any OSError inside into one clear JobError.

    Raises JobError: ``<path>: cannot <action>: <why and what to do>``."""
    try:
        yield
    except OSError as e:
        why = _WHY.get(e.errno or 0, e.strerror or str(e))
        raise JobError(f"{path}: cannot {action}: {why}") from e


def make_folders(folder: Path) -> None:
    """Make a folder for the user alone, and what is missing above it; each name survives a power cut."""
    # Noted before they are made: the name of each must be synced in the folder above it.
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    folder.mkdir(mode=0o700, exist_ok=True)
    for made in missing:
        sync_folder(made.parent)


def append(path: Path, data: bytes, at: int) -> None:
    """Append to a file that is ``at`` bytes long, and sync; on any failure it is ``at`` bytes long again.

    Raises JobError: the file has another length than expected (someone else wrote), or went away while it was
    written."""
    fd = os.open(path, os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0))
    try:
        # Never wherever the file ends now: a line put after one that was not read would follow nothing.
        if (size := os.fstat(fd).st_size) != at:
            raise JobError(
                f"{path}: is {size} bytes long and not {at}: another program wrote to it; open the job again"
            )
        try:
            _write_all(fd, data)
            os.fsync(fd)
            _still_there(fd, path)
        except OSError:
            with suppress(OSError):  # else opening the job again finds a torn end and moves it aside
                os.ftruncate(fd, at)
            raise
    finally:
        os.close(fd)


def _write_all(fd: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        # A disk that fills up, or a signal, lets a write end early without an error.
        view = view[os.write(fd, view) :]


def _still_there(fd: int, path: Path) -> None:
    """A file removed or replaced while open takes writes that nobody will find again."""
    ours, named = os.fstat(fd), path.stat()
    if (ours.st_dev, ours.st_ino) != (named.st_dev, named.st_ino):
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path))


def replace(path: Path, data: bytes, *, sync: bool = True) -> None:
    """Put ``data`` in the place of ``path`` in one step."""
    with whole_file(path, sync=sync) as file:
        file.write(data)


def stored(path: Path, form: type[T], most_bytes: int = 1_000_000) -> T | None:
    """What a file of ours holds, as JSON; None where it is missing, damaged, larger or of another form."""
    try:
        return msgspec.json.decode(read_file(path, most_bytes), type=form)
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
