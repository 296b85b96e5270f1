"""Files that appear whole or not at all, names that survive a power cut, and reading only what is a file."""

import errno
import os
import re
import secrets
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

A_DAY_S = 86_400.0
HELD_OPEN_S = 2.0
"""A virus scanner, or a second window that reads the file, lets go of it within tenths of a second. Judgement: nobody
has measured it on Windows."""
_PASSING = re.compile(r"\.hissway-[0-9a-f]{16}\.tmp")
"""Names of files that are not whole yet; nobody can guess one and lay a link there beforehand."""


@contextmanager
def whole_file(path: Path, *, sync: bool = True) -> Iterator[BinaryIO]:
    """A file to fill, under a passing name beside ``path``; it takes that name, in place of what had it, at the end.

    Where anything goes wrong inside, nothing is left behind and ``path`` is as it was. With ``sync``, content and
    name are on the disk when the block is left.

    Raises OSError: the disk is full, or the folder cannot be written."""
    passing = path.with_name(f".hissway-{secrets.token_hex(8)}.tmp")
    try:
        with os.fdopen(new_file(passing, read_too=True), "wb+") as file:
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
