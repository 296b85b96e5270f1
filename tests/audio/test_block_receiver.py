"""The callback copies, counts and never raises; a take counts overflows, obeys cancellation and tells of trouble."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from listen.audio import watch
from listen.audio.files import read_part
from listen.audio.headers import PartHeader
from listen.audio.take import METER_S, BlockReceiver, Recording, Take
from listen.errors import AudioError, DeviceLost
from tests.patience import in_time

RATE_HZ = 48_000
CLEAN = SimpleNamespace(input_overflow=False)
OVERFLOW = SimpleNamespace(input_overflow=True)


def block(value: float = 0.1) -> np.ndarray:
    return np.full((480, 1), value, np.float32)


@pytest.fixture(autouse=True)
def no_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The feed below comes as fast as the machine lets it: what the clock says of it is tested elsewhere."""
    for limit in ("QUIET_S", "MISSING_S"):
        monkeypatch.setattr(watch, limit, 60.0)


@contextmanager
def fed(receiver: BlockReceiver, statuses: list[SimpleNamespace]) -> Iterator[None]:
    """PortAudio's part, played by a thread: a block every 10 ms, with the statuses in turn from when somebody takes."""
    done = threading.Event()

    def play() -> None:
        while not receiver._takers and not done.is_set():
            time.sleep(0.001)
        turn = iter(statuses)
        while not done.is_set():
            receiver.callback(block(), 480, None, next(turn, CLEAN))
            time.sleep(0.01)

    thread = threading.Thread(target=play)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def take(receiver: BlockReceiver, part: Path, seconds: float, cancel: threading.Event | None = None) -> Recording:
    (recording,) = Take(receiver, "vmic", RATE_HZ, cancel or threading.Event()).record([part], seconds)
    assert recording is not None
    return recording


def test_overflows_are_counted_for_the_take_alone(tmp_path: Path) -> None:
    receiver = BlockReceiver(RATE_HZ, 480)
    receiver.callback(block(), 480, None, OVERFLOW)  # before the take: not its own
    with fed(receiver, [CLEAN] * 15 + [OVERFLOW] * 3):
        done = take(receiver, tmp_path / "a.part", 0.4)
    assert read_part(done.part).overflows == 3
    assert receiver.overflows == 4


def test_the_block_is_our_own_copy() -> None:
    receiver, theirs = BlockReceiver(RATE_HZ, 480), block(0.5)
    receiver.callback(theirs, 480, None, CLEAN)
    theirs[:] = 0
    assert receiver.drain()[0].samples.tolist() == [[0.5]] * 480


def test_every_channel_is_our_own_copy_too() -> None:
    """PortAudio fills the same memory again while a slow disk still writes the last block."""
    receiver, theirs = BlockReceiver(RATE_HZ, 480), np.tile(np.float32([[0.5, 0.25]]), (480, 1))
    receiver.callback(theirs, 480, None, CLEAN)
    theirs[:] = 0
    assert receiver.drain()[0].samples[-1].tolist() == [0.5, 0.25]


def test_nobody_drains_and_memory_stays() -> None:
    receiver = BlockReceiver(RATE_HZ, 480)
    for _ in range(2000):
        receiver.callback(block(), 480, None, CLEAN)
    assert len(receiver.drain()) == METER_S * 100
    assert receiver.drain() == []


def test_an_error_in_the_callback_ends_the_take_with_its_cause(tmp_path: Path) -> None:
    receiver = BlockReceiver(RATE_HZ, 480)
    receiver.callback(None, 480, None, CLEAN)  # type: ignore[arg-type]
    with pytest.raises(DeviceLost, match="no sound had arrived") as caught:
        take(receiver, tmp_path / "a.part", 1)
    assert isinstance(caught.value.__cause__, AttributeError)


def test_cancellation_ends_a_take_at_once_and_keeps_what_came(tmp_path: Path) -> None:
    def ended_s() -> float:
        receiver, cancel, asked = BlockReceiver(RATE_HZ, 480), threading.Event(), []
        part = tmp_path / "a.part"
        part.unlink(missing_ok=True)

        def ask() -> None:
            while not part.exists() or part.stat().st_size < 2 * PartHeader.BYTES:  # until sound has come
                time.sleep(0.01)
            asked.append(time.monotonic())
            cancel.set()

        with fed(receiver, []):
            threading.Thread(target=ask, daemon=True).start()
            done = take(receiver, part, 60, cancel)
            ended = time.monotonic()
        assert done.cancelled
        assert read_part(part).seconds == pytest.approx(done.seconds)
        assert done.seconds > 0
        return ended - asked[0]

    in_time(ended_s, 0.3)


def test_a_take_is_as_long_as_asked_to_the_sample(tmp_path: Path) -> None:
    receiver = BlockReceiver(RATE_HZ, 480)
    with fed(receiver, []):
        done = take(receiver, tmp_path / "a.part", 0.12345)
    assert len(read_part(tmp_path / "a.part").samples) == round(0.12345 * RATE_HZ)
    assert done.seconds == pytest.approx(0.12345, abs=1e-5)


def test_a_full_disk_is_told_and_what_was_written_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from listen.audio.write import PartWriter

    receiver, written = BlockReceiver(RATE_HZ, 480), PartWriter.write

    def full_after_20_blocks(self: PartWriter, samples: np.ndarray, overflows: int) -> None:
        if self.frames >= 20 * 480:
            raise OSError(28, "No space left on device")
        written(self, samples, overflows)

    monkeypatch.setattr(PartWriter, "write", full_after_20_blocks)
    with fed(receiver, []), pytest.raises(AudioError, match=r"a\.part: cannot be written \(No space left on device\)"):
        take(receiver, tmp_path / "a.part", 5)
    assert len(read_part(tmp_path / "a.part").samples) == 20 * 480


def test_nothing_is_fed_to_a_take_that_is_over(tmp_path: Path) -> None:
    """Kept whole or failed: its queue would hold every later block of the session."""
    receiver = BlockReceiver(RATE_HZ, 480)
    with fed(receiver, []):
        take(receiver, tmp_path / "a.part", 0.1)
        with pytest.raises(AudioError):
            take(receiver, tmp_path / "gone" / "a.part", 0.1)
    assert receiver._takers == ()


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="cannot be written"):
        take(BlockReceiver(RATE_HZ, 480), tmp_path / "gone" / "a.part", 1)
