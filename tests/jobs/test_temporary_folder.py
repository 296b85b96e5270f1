"""Protects the jobs' folder from scrap, and what is in use there from being taken for scrap."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from filelock import FileLock

from listen import temporary_folder as rooms
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.unpack import unpack
from listen.temporary_folder import DEAD_AFTER_S, LOCK, temporary_folder
from tests.jobs.shop import small_job

KILLED = """
import os, signal, sys
from pathlib import Path
from listen.temporary_folder import temporary_folder
with temporary_folder(".unpack-", Path(sys.argv[1])) as room:
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


def killed_in_a_room(prefix: str, place: Path) -> Path:
    """What a program that was killed inside its room left."""
    script = KILLED.replace('".unpack-"', repr(prefix))
    assert subprocess.run([sys.executable, "-c", script, str(place)], check=False).returncode == -signal.SIGKILL
    (room,) = place.glob(f"{prefix}*")
    return room


def test_what_a_killed_pack_left_goes_with_the_next(root: Path, tmp_path: Path) -> None:
    room = killed_in_a_room(".hissway-pack-", tmp_path)
    pack(small_job(root), tmp_path / "again.zip")
    assert not room.exists() and (tmp_path / "again.zip").exists()


def test_what_a_killed_demo_left_goes_with_the_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tui.bridge.demo import DemoServices

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    room = killed_in_a_room("hissway-demo-", tmp_path)
    services = DemoServices()
    assert services.prepare().is_dir() and not room.exists()
    services.close()
    assert list(tmp_path.glob("hissway-demo-*")) == []


def test_another_users_room_and_one_with_a_linked_lock_are_left_alone(tmp_path: Path) -> None:
    """Among the system's passing files: a link in the lock's place would be opened, and what it leads to emptied."""
    victim = tmp_path / "victim"
    victim.write_text("precious")
    bait = a_room(tmp_path, "hissway-demo-baitbait", 9 * DEAD_AFTER_S)
    (bait / LOCK).symlink_to(victim)
    with temporary_folder("hissway-demo-", tmp_path):
        pass
    assert victim.read_text() == "precious" and bait.exists()


def test_a_room_in_use_is_left_alone_however_old(root: Path, packed: Path) -> None:
    with temporary_folder(".unpack-", root) as room:
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
    with temporary_folder(".unpack-", root) as room:
        assert room.is_dir()
        assert room != swept[0]
    assert left(root) == []


def test_a_room_that_a_sweep_has_looked_at_is_out_of_its_owners_way_before_it_may_be_locked(root: Path) -> None:
    """Else the owner would lock it in that moment, and it be removed under its hands."""
    room = a_room(root, ".unpack-abandone", 0.0)
    (room / LOCK).touch()
    doomed = rooms._abandoned(room, ".unpack-")
    assert doomed is not None and doomed != room and not room.exists()
    assert (doomed / "half.flac").exists(), "and goes with the next sweep, should this one be killed now"
    with temporary_folder(".unpack-", root):
        pass
    assert left(root) == []
