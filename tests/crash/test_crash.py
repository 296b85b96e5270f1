"""A slice of the crash bench passes in CI; and the bench would notice a missing sync, a torn file, a lost note."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from tests.crash.check import Promised, broken_promises
from tests.crash.kills import kill_writers
from tests.crash.power import logged_session, logged_unpacking, lose_power, replay, synced_sound
from tests.crash.power_log import Op, PowerLog
from tests.crash.power_replay import after_power_loss


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork writers to kill")
def test_writers_killed_at_random_moments_break_no_promise(tmp_path: Path) -> None:
    acknowledged = in_a_take = 0
    for seed in range(5, 11):  # once is enough unless the machine is so busy that the writers get little done
        killed = kill_writers(tmp_path / str(seed), 25, seed)
        assert killed.broken == ()
        acknowledged, in_a_take = acknowledged + killed.acknowledged, in_a_take + killed.in_a_take
        if acknowledged > 250 and in_a_take >= 3:
            break
    assert acknowledged > 250
    assert in_a_take >= 3


def test_power_cuts_break_no_promise(tmp_path: Path) -> None:
    lost = lose_power(tmp_path, 300, seed=6)
    assert lost.broken == ()
    assert lost.operations > 300


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> list[Op]:
    return logged_session(tmp_path_factory.mktemp("power") / "session")


@pytest.mark.parametrize("forgotten", ["sync", "sync-folder"])
def test_a_program_that_forgot_to_sync_would_be_caught(session: list[Op], forgotten: str, tmp_path: Path) -> None:
    careless = [op for op in session if op.what != forgotten]
    assert replay([careless], tmp_path, 40, seed=1)


def test_a_job_taken_in_without_syncing_its_clips_would_be_caught(tmp_path: Path) -> None:
    ops = logged_unpacking(tmp_path / "unpacking")
    clips = {op.args[2] for op in ops if op.what == "link" and op.args[1].endswith(".flac")}
    careless = [op for op in ops if not (op.what == "sync" and op.args[0] in clips)]
    assert len(careless) < len(ops)
    assert any("not whole" in b for b in replay([careless], tmp_path, 60, seed=1))


def whole_state(session: list[Op], to: Path) -> tuple[Promised, Path]:
    """The disk at the end of the session with everything synced, and what was promised."""
    numbers = {op.args[0] for op in session if op.what in ("link", "folder", "unlink", "rename")}
    files = {op.args[0] for op in session if op.what == "write"}
    synced = [*(Op("sync-folder", (n,)) for n in numbers), *(Op("sync", (n,)) for n in files)]
    after_power_loss([*session, *synced], random.Random(1), to)
    promised = Promised()
    for op in session:
        if op.what == "promise" and not op.args[0].startswith("sound "):
            promised.take(op.args[0])
    assert promised.job is not None
    return promised, to / promised.job


def test_the_check_names_what_is_lost(session: list[Op], tmp_path: Path) -> None:
    promised, folder = whole_state(session, tmp_path)
    assert broken_promises(promised, folder) == []
    promised.notes.add("never written")
    promised.sound["0123456789ab"] = 100
    clip = next((folder / "clips").glob("*.flac"))
    clip.write_bytes(clip.read_bytes()[:-1])
    found = "\n".join(broken_promises(promised, folder))
    assert "note 'never written' is lost" in found
    assert "take 0123456789ab is offered with -1 samples; 100 had arrived" in found
    assert f"clip {clip.stem} is in the journal but its file is missing or not whole" in found


def test_a_folder_that_is_no_job_any_more_is_told(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    assert broken_promises(Promised(), tmp_path / "job")[0].startswith("the job does not open")


def test_the_log_notes_every_kind_of_change_and_puts_the_functions_back(tmp_path: Path) -> None:
    before = (os.open, os.write, os.fsync, os.replace, open)
    log = PowerLog(tmp_path)
    with log.watching():
        (tmp_path / "a").mkdir()
        with (tmp_path / "a" / "x").open("wb") as file:
            file.write(b"12345")
            file.flush()
            os.fsync(file.fileno())
            file.truncate(3)
        fd = os.open(tmp_path / "a" / "x", os.O_WRONLY | os.O_APPEND)
        os.write(fd, b"67")
        os.close(fd)
        (tmp_path / "a" / "x").replace(tmp_path / "a" / "y")
        (tmp_path / "a" / "y").unlink()
        (Path("/") / "nowhere" / "outside").exists()
    assert (os.open, os.write, os.fsync, os.replace, open) == before
    told = [(op.what, *op.args) for op in log.ops]
    assert told == [
        ("folder", 0, "a", 1),
        ("link", 1, "x", 2),
        ("write", 2, 0, b"12345"),
        ("sync", 2),
        ("truncate", 2, 3),
        ("write", 2, 3, b"67"),
        ("rename", 1, "x", 1, "y"),
        ("unlink", 1, "y"),
    ]


def test_what_was_synced_is_always_there_and_what_was_not_only_sometimes(tmp_path: Path) -> None:
    ops = [
        Op("link", (0, "kept", 1)),
        Op("write", (1, 0, b"sure")),
        Op("sync", (1,)),
        Op("sync-folder", (0,)),
        Op("write", (1, 4, b" perhaps")),
        Op("link", (0, "new", 2)),
        Op("write", (2, 0, b"perhaps")),
    ]
    seen = set()
    for seed in range(60):
        state = tmp_path / str(seed)
        state.mkdir()
        after_power_loss(ops, random.Random(seed), state)
        content = (state / "kept").read_bytes()
        assert content.startswith(b"sure")
        seen.add((content, (state / "new").exists()))
    assert {(b"sure", False), (b"sure perhaps", True)} <= seen
    assert len(seen) > 4


def test_synced_sound_counts_whole_samples_up_to_the_last_sync() -> None:
    ops = [
        Op("link", (0, "abc.c1.intake.air.air.part", 1)),
        Op("write", (1, 0, bytes(512))),
        Op("write", (1, 512, bytes(40))),
        Op("sync", (1,)),
        Op("write", (1, 552, bytes(40))),
    ]
    assert synced_sound(ops) == {"abc": 10}
