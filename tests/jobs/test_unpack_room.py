"""Protects the jobs' folder from scrap, and what is in use there from being taken for scrap."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from filelock import FileLock

from listen.jobs.exchange import room as rooms
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.room import DEAD_AFTER_S, LOCK, passing_room
from listen.jobs.exchange.unpack import unpack
from tests.jobs.shop import small_job

KILLED = """
import os, signal, sys
from pathlib import Path
from listen.jobs.exchange.room import passing_room
with passing_room(Path(sys.argv[1])) as room:
    (room / "half.flac").write_bytes(b"half")
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def packed(tmp_path: Path) -> Path:
    pack(small_job(tmp_path / "elsewhere"), tmp_path / "job.zip")
    return tmp_path / "job.zip"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    (tmp_path / "jobs").mkdir()
    return tmp_path / "jobs"


def left(root: Path) -> list[str]:
    return sorted(p.name for p in root.iterdir() if p.name.startswith(".") and p.name != ".heads")


def a_room(root: Path, name: str, age_s: float) -> Path:
    """A room without a lock, its folder changed ``age_s`` ago."""
    room = root / name
    room.mkdir()
    (room / "half.flac").write_bytes(b"half")
    then = room.stat().st_mtime - age_s
    os.utime(room, (then, then))
    return room


def test_what_a_killed_unpack_left_goes_with_the_next(root: Path, packed: Path) -> None:
    killed = subprocess.run([sys.executable, "-c", KILLED, str(root)], check=False)
    assert killed.returncode == -signal.SIGKILL
    assert len(left(root)) == 1, "the kill came in the middle"
    assert unpack(packed, root).how == "new"
    assert left(root) == []


def test_a_room_in_use_is_left_alone_however_old(root: Path, packed: Path) -> None:
    with passing_room(root) as room:
        (room / "half.flac").write_bytes(b"half")
        os.utime(room, (0, 0))
        assert unpack(packed, root).how == "new"
        assert (room / "half.flac").read_bytes() == b"half"
    assert left(root) == []


def test_a_room_without_a_lock_goes_after_a_day(root: Path, packed: Path) -> None:
    a_room(root, ".unpack-old_room", DEAD_AFTER_S + 60)
    a_room(root, ".unpack-new_room", DEAD_AFTER_S - 600)
    unpack(packed, root)
    assert left(root) == [".unpack-new_room"]


def test_nothing_else_is_ever_swept(root: Path, packed: Path, tmp_path: Path) -> None:
    """A person's own folder of a like name, and whatever a link leads to."""
    own = a_room(root, ".unpack-notes of mine", 9 * DEAD_AFTER_S)
    target = a_room(tmp_path, "target", 9 * DEAD_AFTER_S)
    (root / ".unpack-linkroom").symlink_to(target)
    unpack(packed, root)
    assert (own / "half.flac").exists()
    assert (target / "half.flac").exists()
    assert (root / ".unpack-linkroom").is_symlink()


def test_a_room_swept_while_its_lock_was_being_taken_is_given_up_for_another(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one moment at which a living owner's room looks abandoned: the lock's file is there, the lock not held."""
    swept: list[Path] = []

    class SweptFirst(FileLock):
        def acquire(self, *words: object, **more: object) -> object:  # type: ignore[override]
            place = Path(self.lock_file).parent
            if not swept:
                swept.append(place)
                taken = super().acquire(*words, **more)  # type: ignore[arg-type]
                (place / LOCK).unlink()
                place.rmdir()
                return taken
            return super().acquire(*words, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(rooms, "FileLock", SweptFirst)
    with passing_room(root) as room:
        assert room.is_dir()
        assert room != swept[0]
    assert left(root) == []
