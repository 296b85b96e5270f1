"""Protects sound on a disk that fails or is slow: told in words, nothing lost, never taken for a dead microphone."""

from __future__ import annotations

import io
import os
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from listen.audio import write
from listen.audio.files import read_part
from listen.audio.headers import PartHeader
from listen.audio.take import BlockReceiver, Take
from listen.audio.write import PartWriter, finish, write_clip
from listen.errors import AudioError
from listen.signal.clip import Clip
from tests.audio.test_write_and_partial import TAKEN, a_part, steps_of_24_bits

FULL = OSError(28, "No space left on device")
CLIP = Clip.of(steps_of_24_bits(48_000), 48_000)


class FullAfter(io.BytesIO):
    """A file on a disk that fills at one write, and has room again afterwards or not."""

    def __init__(self, fails: int) -> None:
        super().__init__()
        self.writes, self.fails = 0, fails

    def write(self, data: bytes, /) -> int:  # type: ignore[override]
        self.writes += 1
        if self.writes == self.fails:
            raise FULL
        return super().write(data)


@pytest.mark.parametrize("form", ["FLAC", "WAV"])
def test_any_single_write_that_fails_is_told_and_none_ends_the_program(form: str) -> None:
    whole = FullAfter(-1)
    write._encode(whole, CLIP, form)
    assert whole.writes
    for fails in range(1, whole.writes + 1):
        with pytest.raises(OSError, match="No space left"):
            write._encode(FullAfter(fails), CLIP, form)


class Forgetful(io.BytesIO):
    """A disk that says it wrote and did not."""

    def write(self, data: bytes, /) -> int:  # type: ignore[override]
        return super().write(bytes(data)[:9_000].ljust(len(data), b"\0"))


def test_what_does_not_read_back_is_not_taken_for_written() -> None:
    with pytest.raises(OSError, match="does not read back"):
        write._encode(Forgetful(), CLIP, "FLAC")


def test_a_part_that_something_holds_stays_and_the_clip_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_part(tmp_path / "a.part", closed=True)

    def held(self: Path, missing_ok: bool = False) -> None:
        raise PermissionError(13, "a scanner holds it")

    with monkeypatch.context() as scanner:
        scanner.setattr(Path, "unlink", held)
        finish(tmp_path / "a.part", tmp_path / "a.flac")
    assert (tmp_path / "a.flac").is_file() and (tmp_path / "a.part").is_file()


def test_a_header_written_short_is_written_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A raw file may take less than it is given; the samples must begin where the header ends."""
    raw_open = os.fdopen

    def stingy(fd: int, mode: str, **more: int) -> io.FileIO:
        file = raw_open(fd, mode, **more)

        class Short(io.FileIO):
            def write(self, data: bytes, /) -> int:  # type: ignore[override]
                return super().write(bytes(data)[:100])

        return Short(os.dup(file.fileno()), "wb")

    monkeypatch.setattr(os, "fdopen", stingy)
    x = a_part(tmp_path / "a.part", 3, closed=True)
    monkeypatch.undo()
    assert np.array_equal(read_part(tmp_path / "a.part").samples, x)


def test_a_part_that_cannot_be_begun_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(fd: int) -> None:
        raise FULL

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        PartWriter(tmp_path / "a.part", PartHeader(48_000, "vmic", TAKEN))
    assert list(tmp_path.iterdir()) == []


def live(receiver: BlockReceiver, ended: threading.Event, channels: int = 1) -> None:
    """Callbacks every 10 ms, as a microphone's."""
    noise = np.random.default_rng(1).normal(0, 0.01, (480, channels)).astype(np.float32)
    due = time.monotonic()
    while not ended.is_set():
        receiver.callback(noise, 480, None, SimpleNamespace(input_overflow=False))
        due += 0.01
        time.sleep(max(0.0, due - time.monotonic()))


@pytest.mark.parametrize(("slow", "channels"), [("sync", 1), ("write", 1), ("write", 2)])
def test_a_slow_disk_is_no_dead_microphone(
    slow: str, channels: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    receiver, ended = BlockReceiver(48_000, 480), threading.Event()
    sync, took = os.fsync, PartWriter.write

    def slowly(fd: int) -> None:
        time.sleep(1.1)  # longer than the silence after which a microphone is taken for dead
        sync(fd)

    def once_slowly(self: PartWriter, block: np.ndarray, overflows: int) -> None:
        if self.frames == 480:
            time.sleep(1.1)
        took(self, block, overflows)

    if slow == "sync":
        monkeypatch.setattr(os, "fsync", slowly)
    else:
        monkeypatch.setattr(PartWriter, "write", once_slowly)
    microphone = threading.Thread(target=live, args=(receiver, ended, channels))
    microphone.start()
    parts = [tmp_path / f"{n}.part" for n in range(channels)]
    take = Take(receiver, "vmic", 48_000, threading.Event())
    try:
        recorded = list(take.record(parts, 2.0))
    finally:
        ended.set()
        microphone.join()
    assert [r and r.seconds for r in recorded] == [2.0] * channels
    assert [len(read_part(part).samples) for part in parts] == [96_000] * channels


def test_a_sync_that_fails_ends_the_take_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    receiver, ended = BlockReceiver(48_000, 480), threading.Event()
    sync, count = os.fsync, iter(range(100))

    def failing(fd: int) -> None:
        if next(count) >= 2:
            raise OSError(5, "Input/output error")
        sync(fd)

    monkeypatch.setattr(os, "fsync", failing)
    microphone = threading.Thread(target=live, args=(receiver, ended))
    microphone.start()
    try:
        with pytest.raises(AudioError, match=r"a\.part: cannot be written \(Input/output error\)"):
            Take(receiver, "vmic", 48_000, threading.Event()).record([tmp_path / "a.part"], 5.0)
    finally:
        ended.set()
        microphone.join()
    assert len(read_part(tmp_path / "a.part").samples) > 0


def test_a_clip_that_cannot_be_written_leaves_no_passing_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write, "_reads_back", lambda file, clip: False)
    with pytest.raises(OSError, match="does not read back"):
        write_clip(tmp_path / "a.flac", CLIP)
    assert list(tmp_path.iterdir()) == []
