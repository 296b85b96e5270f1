"""Protects the word on a clip right after it was taken, and the process that gives it."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.errors import ClipError, HisswayError, RoundError
from listen.rounds.analyst import Analyst
from listen.rounds.check import check_take
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.rounds.model import Round
from tests.rounds.made import RATE_HZ, noise


def _wav(path: Path, x: np.ndarray, rate_hz: int = RATE_HZ) -> Path:
    soundfile.write(path, x, rate_hz, subtype="FLOAT")
    return path


def test_a_good_clip_is_kept_with_its_excess(tmp_path: Path) -> None:
    """Twice the amplitude is 6 dB over the quiet; without a quiet clip no number is made up."""
    quiet = _wav(tmp_path / "q.wav", noise(1, 4.0))
    air = _wav(tmp_path / "a.wav", 2 * noise(2, 4.0))
    alone = check_take(air, "intake")
    assert (alone.kept, alone.excess_db, alone.seconds) == (True, None, 4.0)
    both = check_take(air, "intake", quiet)
    assert both.kept
    assert both.excess_db == pytest.approx(6.02, abs=0.3)


@pytest.mark.parametrize(
    ("flag", "x"),
    [
        ("clipping", np.clip(noise(1, 3.0, rms=0.8), -1, 1)),
        ("silent", np.zeros(RATE_HZ * 3)),
        ("too-short", noise(1, 0.3)),
    ],
)
def test_a_bad_clip_is_sent_back_because(tmp_path: Path, flag: str, x: np.ndarray) -> None:
    """Not kept, with the flag and its sentence."""
    check = check_take(_wav(tmp_path / "a.wav", x), "intake", _wav(tmp_path / "q.wav", noise(2, 3.0)))
    assert not check.kept
    assert {f.flag: f.text for f in check.flags if f.reject}[flag]


def test_other_rate_than_the_quiet(tmp_path: Path) -> None:
    """Two rates cannot be compared: the clip is sent back, nothing is raised."""
    quiet = _wav(tmp_path / "q.wav", noise(1, 3.0))
    check = check_take(_wav(tmp_path / "a.wav", noise(2, 3.0, 44_100), 44_100), "tailpipe", quiet)
    assert (check.kept, check.excess_db) == (False, None)
    assert [f.flag for f in check.flags] == ["other-rate"]


def test_a_bad_quiet_is_not_the_air_clips_fault(tmp_path: Path) -> None:
    """No number against a silent quiet clip, but the air clip is kept."""
    quiet = _wav(tmp_path / "q.wav", np.zeros(RATE_HZ * 3))
    check = check_take(_wav(tmp_path / "a.wav", noise(2, 3.0)), "intake", quiet)
    assert (check.kept, check.excess_db) == (True, None)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A sentence."""
    with pytest.raises(ClipError, match="cannot be read"):
        check_take(tmp_path / "nowhere.wav", "intake")


@pytest.fixture(scope="module")
def analyst() -> Iterator[Analyst]:
    """One for the module: starting takes a second."""
    one = Analyst()
    yield one
    one.close()


def test_results_come_through_the_future(analyst: Analyst, leak: Path) -> None:
    """The same as judged here, to the last digit, from another process."""
    round_ = read_folder(leak)
    air, quiet = leak / "intake-air-1.flac", leak / "intake-quiet-1.flac"
    judged, checked = analyst.evaluate(round_), analyst.check(air, "intake", quiet)
    assert judged.result(timeout=60) == evaluate(round_)
    assert checked.result(timeout=60) == check_take(air, "intake", quiet)


def test_errors_come_through_the_future(analyst: Analyst, tmp_path: Path) -> None:
    """As the errors they are, with their sentence; the process goes on."""
    with pytest.raises(RoundError, match="empty: no air clip at any point"):
        analyst.evaluate(Round("empty", ())).result(timeout=60)
    (tmp_path / "a.wav").write_text("no sound")
    with pytest.raises(ClipError, match="not a sound file") as raised:
        analyst.check(tmp_path / "a.wav", "intake").result(timeout=60)
    assert isinstance(raised.value, HisswayError)
    good = _wav(tmp_path / "b.wav", noise(1, 2.0))
    assert analyst.check(good, "intake").result(timeout=60).kept


def test_close_ends_the_process() -> None:
    """At once, whatever is queued; what was queued does not hang its reader."""
    analyst = Analyst()
    analyst._pool.submit(int).result(timeout=60)
    (process,) = analyst._pool._processes.values()
    assert process.pid != os.getpid()
    waiting = [analyst._pool.submit(time.sleep, 60) for _ in range(3)]
    started = time.monotonic()
    while not waiting[0].running():
        assert time.monotonic() - started < 10
        time.sleep(0.02)
    time.sleep(0.2)  # in the process itself, too
    started = time.monotonic()
    analyst.close()
    while process.is_alive():  # not join: the pool's own thread may be the one that is told of the end
        assert time.monotonic() - started < 10
        time.sleep(0.02)
    for future in waiting:
        assert future.cancelled() or future.exception(timeout=10) is not None
