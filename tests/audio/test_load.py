"""Under load nothing is lost in silence: a take is exact, or it says what it lacks."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from pathlib import Path

import numpy as np

from listen.audio.files import read_part
from listen.audio.watch import MISSING_S
from tests.audio.streams import Recorder, known_noise, place, told_gap_s, wait_until
from tests.patience import in_time
from tests.sound_server import RATE_HZ, SoundServer


def hearing(server: SoundServer, room: Path, *, first: bool = True) -> Recorder:
    """A recorder that hears half a minute of known noise."""
    known_noise(room / "noise.wav", 30)
    server.feed(room / "noise.wav")
    recorder = Recorder(server, first=first)
    recorder.ask("open")
    return recorder


def is_exact(part: Path, source: np.ndarray) -> bool:
    take = read_part(part).samples
    start = place(take, source)
    return start >= 0 and np.array_equal(take, source[start : start + len(take)])


def pause(recorder: Recorder, seconds: float) -> float:
    """Halt the recorder; how long that took in truth."""
    began = time.monotonic()
    recorder.process.send_signal(signal.SIGSTOP)
    time.sleep(seconds)
    recorder.process.send_signal(signal.SIGCONT)
    return time.monotonic() - began


def test_a_short_halt_of_the_whole_program_costs_nothing(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "same.wav", 30)

    def halted_s() -> float:
        recorder, part = hearing(sound_server, tmp_path), tmp_path / "a.part"
        part.unlink(missing_ok=True)
        recorder.tell("record", part, 2)
        wait_until(part, 512 + 4 * RATE_HZ // 2)
        took = pause(recorder, 0.25)
        done = recorder.answer()
        if took < 0.28:
            assert (done["seconds"], done["gaps"]) == (2.0, [])
            assert is_exact(part, source)
        return took

    in_time(halted_s, 0.28, sound_server.afresh)


def test_a_long_halt_is_told_not_bridged(sound_server: SoundServer, tmp_path: Path) -> None:
    """On a busy machine the server may halt with it and lose nothing: then all of it is there, to the sample."""
    recorder = hearing(sound_server, tmp_path)
    source = known_noise(tmp_path / "same.wav", 30)
    recorder.tell("record", tmp_path / "a.part", 20)
    wait_until(tmp_path / "a.part", 512 + 4 * RATE_HZ)
    pause(recorder, 2.0)
    answer = recorder.answer()
    assert answer.get("kind") == "DeviceLost" or (answer["seconds"], answer["gaps"]) == (20.0, [])
    assert is_exact(tmp_path / "a.part", source)


def test_with_every_core_taken_several_times_a_take_is_exact_or_says_so(
    sound_server: SoundServer, tmp_path: Path
) -> None:
    """Told are runs of zeros, overflows, and losses beyond the watch's limit; a shorter one is a cut in noise."""
    recorder = hearing(sound_server, tmp_path, first=False)
    source = known_noise(tmp_path / "same.wav", 30)
    burners = [subprocess.Popen(["sh", "-c", "while :; do :; done"]) for _ in range(3 * (os.cpu_count() or 1))]
    try:
        done = recorder.ask("record", tmp_path / "a.part", 3)
    finally:
        for burner in burners:
            burner.kill()
            burner.wait()
    take = read_part(tmp_path / "a.part").samples
    assert len(take) > 0.3 * RATE_HZ
    if "error" in done:
        assert done["kind"] == "DeviceLost"
    elif done["overflows"] == 0 and not done["gaps"]:
        lost = place(take[-32:], source) + 32 - place(take, source) - len(take)
        assert is_exact(tmp_path / "a.part", source) or 0 < lost <= MISSING_S * RATE_HZ


def replace_source(server: SoundServer, away_s: float) -> None:
    """Take the microphone's source away and bring it back with another rate."""
    rows = server.pactl("list", "short", "modules").splitlines()
    server.pactl("unload-module", next(row.split()[0] for row in rows if "remap-source" in row))
    time.sleep(away_s)
    server.pactl("load-module", "module-remap-source", "source_name=mic", "master=vmic.monitor", "rate=44100")


def test_a_source_that_comes_back_at_another_rate_keeps_the_rounds_rate(
    sound_server: SoundServer, tmp_path: Path
) -> None:
    def noticed_s() -> float:
        recorder = hearing(sound_server, tmp_path)
        for part in (tmp_path / "a.part", tmp_path / "b.part"):
            part.unlink(missing_ok=True)
        recorder.tell("record", tmp_path / "a.part", 20)
        wait_until(tmp_path / "a.part", 512 + 4 * RATE_HZ)
        began = time.monotonic()
        replace_source(sound_server, 1.2)
        answer = recorder.answer()
        assert answer["kind"] == "DeviceLost"
        assert recorder.ask("open")["rate_hz"] == RATE_HZ
        assert recorder.ask("record", tmp_path / "b.part", 1)["seconds"] == 1.0
        assert np.sqrt(np.mean(np.square(read_part(tmp_path / "b.part").samples))) > 0.05
        return float(answer["at"]) - began

    in_time(noticed_s, 1.3, sound_server.afresh)


def test_a_source_away_for_a_moment_is_told_as_a_gap(sound_server: SoundServer, tmp_path: Path) -> None:
    recorder = hearing(sound_server, tmp_path)
    # Long enough that a busy machine takes the source away before the take is over.
    recorder.tell("record", tmp_path / "a.part", 5.0)
    wait_until(tmp_path / "a.part", 512 + 4 * RATE_HZ // 2)
    began = time.monotonic()
    replace_source(sound_server, 0.35)
    away_s = time.monotonic() - began
    gap_s = told_gap_s(recorder.answer())
    assert gap_s is None or 0.3 < gap_s < away_s + 0.2
