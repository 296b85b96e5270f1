"""A temporary folder (a bag unpacked, a demo played): gone afterwards, and what a killed program left with the next.

It is its owner's as long as the lock inside it is held; the system lets go of it with the owner, however it ends.
"""

import os
import re
import secrets
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

LOCK = ".owner.lock"
DEAD_AFTER_S = 86_400.0
"""Age at which a folder without a lock is nobody's: its owner died within the instant before it took the lock, or it
was left by a version that took none; the largest bag is unpacked within minutes."""


@contextmanager
def temporary_folder(prefix: str, root: Path | None = None) -> Iterator[Path]:
    """An empty folder under ``root`` (there already), removed at the end with all that is still in it.

    ``prefix`` begins its name, and the names of those that killed programs left; without a ``root`` it lies among the
    system's passing files.

    Raises OSError: the folder cannot be made."""
    root = root or Path(tempfile.gettempdir())
    # First: what dead programs left may be what fills the disk.
    _sweep(prefix, root)
    folder, lock = _own_folder(prefix, root)
    try:
        yield folder
    finally:
        lock.release()
        shutil.rmtree(folder, ignore_errors=True)


def _own_folder(prefix: str, root: Path) -> tuple[Path, FileLock]:
    while True:
        folder = Path(tempfile.mkdtemp(prefix=prefix, dir=root))
        lock = FileLock(folder / LOCK)
        try:
            lock.acquire(blocking=False)
        except (Timeout, FileNotFoundError):  # another sweeps it, between the making of the lock's file and its taking
            continue
        except NotImplementedError:  # a disk that knows no locks: nobody will take the folder for abandoned there
            return folder, lock
        if (folder / LOCK).exists():
            return folder, lock
        lock.release()  # swept in that moment


def _sweep(prefix: str, root: Path) -> None:
    """Remove folders that are surely nobody's; what cannot be removed stays for the next time."""
    name = re.compile(re.escape(prefix) + "[a-z0-9_]{8}")
    for folder in root.glob(f"{prefix}*"):
        if name.fullmatch(folder.name) and _ours(folder) and (abandoned := _abandoned(folder, prefix)):
            shutil.rmtree(abandoned, ignore_errors=True)


def _ours(folder: Path) -> bool:
    """Whether it is a folder of this user's; among the system's passing files others lay theirs, and links."""
    try:
        found = folder.lstat()
        linked = (folder / LOCK).is_symlink()
    except OSError:
        return False
    ours = not hasattr(os, "geteuid") or found.st_uid == os.geteuid()
    return stat.S_ISDIR(found.st_mode) and not linked and ours


def _abandoned(folder: Path, prefix: str) -> Path | None:
    """Where a folder that is nobody's lies now; None for one in use."""
    try:
        if not (folder / LOCK).exists():
            return folder if time.time() - folder.stat().st_mtime > DEAD_AFTER_S else None
        with FileLock(folder / LOCK).acquire(blocking=False), suppress(PermissionError):  # Windows: the lock is open
            # Out of the way while the lock is held: a living owner that has made the lock's file and not locked it yet
            # finds its folder gone, and makes another; once let go, it would lock a folder that is about to be removed.
            return folder.rename(folder.with_name(f"{prefix}{secrets.token_hex(4)}"))
    except (Timeout, OSError, NotImplementedError):  # held; or not ours to touch; or a disk that knows no locks
        return None
    return folder
