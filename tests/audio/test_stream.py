"""A real PortAudio stream: what is played into the microphone is what is recorded, sample for sample."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import numpy as np

from listen.audio.files import read_part
from tests.audio.streams import Recorder, known_noise, place, wait_until
from tests.sound_server import RATE_HZ, SoundServer


def test_a_take_equals_what_was_played(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "noise.wav", 8)
    recorder = Recorder(sound_server)
    assert recorder.ask("open")["rate_hz"] == RATE_HZ
    sound_server.feed(tmp_path / "noise.wav")
    done = recorder.ask("record", tmp_path / "a.part", 3)
    assert (done["seconds"], done["overflows"], done["gaps"]) == (3.0, 0, [])
    take = read_part(tmp_path / "a.part").samples
    start = place(take, source)
    assert start >= 0
    assert np.array_equal(take, source[start : start + 3 * RATE_HZ])
    assert recorder.leave() == 0


def test_nothing_is_lost_at_the_start_of_what_is_played(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "noise.wav", 1)
    recorder = Recorder(sound_server)
    recorder.ask("open")
    recorder.tell("record", tmp_path / "a.part", 2)
    wait_until(tmp_path / "a.part", 512 + 4 * 4800)
    sound_server.feed(tmp_path / "noise.wav")
    recorder.answer()
    take = read_part(tmp_path / "a.part").samples
    start = int(np.flatnonzero(take)[0])
    heard = min(len(source), len(take) - start)
    assert heard > RATE_HZ / 2
    assert np.array_equal(take[start : start + heard], source[:heard])


def test_several_takes_from_one_stream_and_a_meter_beside(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "noise.wav", 10)
    recorder = Recorder(sound_server)
    recorder.ask("open")
    sound_server.feed(tmp_path / "noise.wav")
    starts = []
    for k in range(4):
        recorder.ask("record", tmp_path / f"{k}.part", 0.5)
        take = read_part(tmp_path / f"{k}.part").samples
        starts.append(place(take, source))
        assert np.array_equal(take, source[starts[-1] : starts[-1] + RATE_HZ // 2])
    assert starts == sorted(starts)
    assert recorder.ask("drain")["samples"] >= RATE_HZ


def test_sigkill_loses_at_most_the_last_second(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "noise.wav", 12)
    sound_server.feed(tmp_path / "noise.wav")
    recorder = Recorder(sound_server)
    recorder.ask("open")
    for wait_s in (1.3, 2.15):
        part = tmp_path / f"{wait_s}.part"
        recorder.tell("record", part, 60)
        wait_until(part, 512 + 4)
        began = time.monotonic()
        time.sleep(wait_s)
        recorder.process.send_signal(signal.SIGKILL)
        recorded_s = time.monotonic() - began
        recorder.process.wait()
        take = read_part(part).samples
        assert len(take) / RATE_HZ > recorded_s - 1.0
        start = place(take, source)
        assert np.array_equal(take, source[start : start + len(take)])
        recorder = Recorder(sound_server)
        recorder.ask("open")


def test_opening_and_recording_over_and_over_leaves_no_handles_behind(
    sound_server: SoundServer, tmp_path: Path
) -> None:
    known_noise(tmp_path / "noise.wav", 20)
    sound_server.feed(tmp_path / "noise.wav")
    recorder = Recorder(sound_server)
    handles = []
    for k in range(15):
        handles.append(recorder.ask("open")["handles"])
        assert recorder.ask("record", tmp_path / f"{k}.part", 0.05)["seconds"] == 0.05
        recorder.ask("close")
    assert max(handles[3:]) <= handles[3] + 1, handles
