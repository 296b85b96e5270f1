"""Bytes of a job that must survive: create, append, cut, replace; every failure of the disk told in one sentence."""

import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TypeVar

import msgspec

from listen.durable import new_file, read_file, remove_if_possible, sync_folder, whole_file
from listen.errors import JobError, UsageError

T = TypeVar("T")
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

CHUNK_BYTES = 1 << 20


@contextmanager
def job_errors(action: str, path: Path) -> Iterator[None]:
    """Turn any OSError inside into one clear JobError.

    Raises JobError: ``<path>: cannot <action>: <why and what to do>``."""
    try:
        yield
    except OSError as e:
        why = _WHY.get(e.errno or 0, e.strerror or str(e))
        raise JobError(f"{path}: cannot {action}: {why}") from e


def folder_mode(root: Path) -> int:
    """Who may enter a job made under ``root``: the user alone, unless ``root`` is one that others write to as well."""
    mode = stat.S_IMODE(root.stat().st_mode)
    shared = mode & 0o022 and not mode & stat.S_ISVTX  # a shop's own folder, not the system's for passing files
    return 0o700 | (mode & 0o077 if shared else 0)


def make_folders(folder: Path) -> None:
    """Make a folder for the user alone, and what is missing above it; each name survives a power cut."""
    # Noted before they are made: the name of each must be synced in the folder above it.
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    folder.mkdir(mode=0o700, exist_ok=True)
    for made in missing:
        sync_folder(made.parent)


def create(path: Path, data: bytes, mode: int | None = None) -> None:
    """Write a new file whole, synced with its folder; an existing one is never touched (FileExistsError)."""
    fd = new_file(path, mode=mode)
    try:
        _write_all(fd, data)
        os.fsync(fd)
    except OSError:
        # Half a file under a whole one's name would be taken for it.
        remove_if_possible(path)
        raise
    finally:
        os.close(fd)
    # A name is data of its folder: without this the file, though synced, may be gone after a power cut.
    sync_folder(path.parent)


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


def cut(path: Path, size: int) -> None:
    with path.open("r+b") as f:
        f.truncate(size)
        os.fsync(f.fileno())


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


def link_in(path: Path, top: Path) -> str:
    """The first link on the way from ``top`` (not looked at) to ``path``; empty where there is none."""
    way = [path, *path.parents]
    for step in reversed(way[: way.index(top)]):
        if step.is_symlink():
            return step.relative_to(top).as_posix()
    return ""


def stored(path: Path, form: type[T], most_bytes: int = 1_000_000) -> T | None:
    """What a file of ours holds, as JSON; None where it is missing, damaged, larger or of another form."""
    try:
        return msgspec.json.decode(read_file(path, most_bytes), type=form)
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def at_home(path: str | Path) -> Path:
    """The path with ``~`` or ``~user`` at its beginning replaced by that home folder.

    Raises UsageError: there is no such user, or the home folder is not known."""
    try:
        return Path(path).expanduser()
    except RuntimeError:
        raise UsageError(f"{path}: no home folder is known for {Path(path).parts[0]}; give the folder whole") from None
