"""A room beside the jobs in which a bag is unpacked: gone afterwards, and what a killed unpack left goes with the next.

A room is its owner's as long as the lock inside it is held; the system lets go of it with the owner, however it ends.
"""

from __future__ import annotations

import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

PREFIX = ".unpack-"
LOCK = ".owner.lock"
DEAD_AFTER_S = 86_400.0
"""Age at which a room without a lock is nobody's: its owner died within the instant before it took the lock, or it
was left by a version that took none; the largest bag is unpacked within minutes."""
_NAME = re.compile(re.escape(PREFIX) + "[a-z0-9_]{8}")


@contextmanager
def passing_room(root: Path) -> Iterator[Path]:
    """An empty folder under ``root`` (there already), removed at the end with all that is still in it.

    Raises
    ------
    OSError
        The folder cannot be made.
    """
    _sweep(root)
    room, lock = _own_room(root)
    try:
        yield room
    finally:
        lock.release()
        shutil.rmtree(room, ignore_errors=True)


def _own_room(root: Path) -> tuple[Path, FileLock]:
    while True:
        room = Path(tempfile.mkdtemp(prefix=PREFIX, dir=root))
        lock = FileLock(room / LOCK)
        try:
            lock.acquire(blocking=False)
        except Timeout:  # another unpack is sweeping it, between the making of the lock's file and its taking
            continue
        except NotImplementedError:  # a disk that knows no locks: nobody will take the room for abandoned there
            return room, lock
        if (room / LOCK).exists():
            return room, lock
        lock.release()  # swept in that moment


def _sweep(root: Path) -> None:
    """Remove rooms that are surely nobody's; what cannot be removed stays for the next time."""
    for room in root.glob(f"{PREFIX}*"):
        if _NAME.fullmatch(room.name) and not room.is_symlink() and room.is_dir() and _abandoned(room):
            shutil.rmtree(room, ignore_errors=True)


def _abandoned(room: Path) -> bool:
    try:
        if not (room / LOCK).exists():
            return time.time() - room.stat().st_mtime > DEAD_AFTER_S
        lock = FileLock(room / LOCK)
        lock.acquire(blocking=False)
        lock.release()
    except (Timeout, OSError, NotImplementedError):  # held; or not ours to touch; or a disk that knows no locks
        return False
    return True
