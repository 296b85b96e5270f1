"""A disk that takes seconds for a sync: the screen goes on, says so, and tells what the disk refuses in the end."""

from __future__ import annotations

import asyncio
import errno
import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from bay import bench, screen_text, to_engine, to_quiet_walk, until
from fakes import FakeSource

from listen import durable
from listen.jobs.events import NoteAdded
from listen.jobs.folder.store import open_job
from tests.jobs.short import note_texts
from tui.screens.dialog import PickScreen

SYNC_S = 3.0
FROZEN_S = 1.2
"""The desk waits 0.3 s; the rest is for a busy machine."""


def slow(monkeypatch: pytest.MonkeyPatch, seconds: float, then: Callable[[], None] = lambda: None) -> None:
    """Syncs of the journal take so long, and end as ``then`` does."""
    sync = os.fsync

    class Slow:
        def __getattr__(self, name: str) -> object:
            return getattr(os, name)

        def fsync(self, fd: int) -> None:
            time.sleep(seconds)
            then()
            sync(fd)

    monkeypatch.setattr(durable, "os", Slow())


async def longest_pause_s(seconds: float) -> float:
    """How long the screen's own thread stood still at most."""
    worst, end, last = 0.0, time.monotonic() + seconds, time.monotonic()
    while last < end:
        await asyncio.sleep(0.01)
        now = time.monotonic()
        worst, last = max(worst, now - last), now
    return worst


async def test_a_sync_of_three_seconds_does_not_freeze_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        folder = app.open_job.folder
        with monkeypatch.context() as patched:
            slow(patched, SYNC_S)
            watching = asyncio.create_task(longest_pause_s(2 * SYNC_S))
            await asyncio.sleep(0)
            app.write(NoteAdded(text="first"))
            app.write(NoteAdded(text="second"))
            assert note_texts(app.job) == ("first", "second"), "shown as it will be"
            assert b"second" not in (folder / "journal.jsonl").read_bytes()
            await until(pilot, lambda: "slow disk: still writing" in screen_text(app))
            assert await watching < FROZEN_S
            await until(pilot, lambda: not app.journal.busy)
        await until(pilot, lambda: "still writing" not in screen_text(app))
        assert app.job == app.open_job.job and note_texts(app.job) == ("first", "second")
    assert note_texts(open_job(folder, write=False).job) == ("first", "second")


async def test_what_a_slow_disk_refuses_in_the_end_is_told_and_taken_from_the_screen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full() -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        app.sit("Ida Moor", "supervisor")
        with monkeypatch.context() as patched:
            slow(patched, 1.0, full)
            app.write(NoteAdded(text="lost"))
            assert note_texts(app.job) == ("lost",)
            await until(pilot, lambda: bool(app._notifications))
            (told,) = app._notifications
            assert "Not written" in told.message and "disk is full" in told.message
        assert note_texts(app.job) == () and not app.job.sat
        app.write(NoteAdded(text="kept"))
        assert note_texts(app.job) == ("kept",)
        assert [s.name for s in app.job.sat] == ["Ida Moor"], "who sits here is told again"


async def test_leaving_a_job_whose_last_word_is_not_on_the_disk_waits_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        folder = app.open_job.folder
        with monkeypatch.context() as patched:
            slow(patched, 1.0)
            app.write(NoteAdded(text="last word"))
            app.put_away()
            await until(pilot, lambda: not app.journal.busy)
        with open_job(folder) as again:
            assert note_texts(again.job) == ("last word",)


async def test_a_left_over_take_is_kept_beside_the_screen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = bench(tmp_path, source=FakeSource(["lost"]))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        with monkeypatch.context() as patched:
            slow(patched, 1.0)
            await pilot.press("k")
            assert await longest_pause_s(1.0) < FROZEN_S
            await until(pilot, lambda: bool(screen.record.live_clips()))
