"""Every way a microphone goes away on a real stream: noticed within a second, told in one sentence, the rest kept."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from listen.audio.files import read_part
from tests.audio.streams import Recorder, known_noise, place, told_gap_s, wait_until
from tests.patience import in_time
from tests.sound_server import RATE_HZ, SoundServer

NOTICED_S = 1.0
"""The promise, from the event itself to the raised error."""
BRIEF_S = 0.65
"""Longest time that bringing a trouble about may take: below the time after which a stream counts as stalled."""
SLACK_S = 0.3
"""Scheduling on a machine that runs other tests beside this one."""


def unload_source(server: SoundServer) -> None:
    rows = server.pactl("list", "short", "modules").splitlines()
    server.pactl("unload-module", next(row.split()[0] for row in rows if "remap-source" in row))


def mute(server: SoundServer) -> None:
    server.pactl("set-source-mute", "mic", "1")


def move(server: SoundServer) -> None:
    for row in server.pactl("list", "short", "source-outputs").splitlines():
        if "alsa" in row.lower() or row.split()[2] != "-":
            server.pactl("move-source-output", row.split()[0], "elsewhere.monitor")


def suspend(server: SoundServer) -> None:
    server.pactl("suspend-source", "mic", "1")


def suspend_half_a_second(server: SoundServer) -> None:
    suspend(server)
    time.sleep(0.45)
    server.pactl("suspend-source", "mic", "0")


ROWS: dict[str, tuple[Callable[[SoundServer], None], str]] = {
    "server killed": (SoundServer.kill, "has gone"),
    "source removed": (unload_source, "exact zeros|has gone"),
    "muted": (mute, "exact zeros"),
    "moved to a silent source": (move, "exact zeros"),
    "suspended": (suspend, "has sent nothing"),
    "suspended, then resumed": (suspend_half_a_second, "of sound are missing"),
    "frozen for good": (SoundServer.freeze, "has sent nothing"),
}


@pytest.mark.parametrize("row", ROWS)
def test_trouble_in_the_middle_of_a_clip(sound_server: SoundServer, tmp_path: Path, row: str) -> None:
    in_time(lambda: noticed_s(sound_server, tmp_path, *ROWS[row]), NOTICED_S + SLACK_S, sound_server.afresh)


def noticed_s(server: SoundServer, room: Path, happen: Callable[[SoundServer], None], says: str) -> float:
    """Seconds from the trouble to the word about it; all but the time is asserted here."""
    source = known_noise(room / "noise.wav", 20)
    server.feed(room / "noise.wav")
    recorder, part = Recorder(server), room / "a.part"
    part.unlink(missing_ok=True)
    recorder.ask("open")
    recorder.tell("record", part, 60)
    wait_until(part, 512 + 4 * RATE_HZ)
    began = time.monotonic()
    happen(server)
    if time.monotonic() - began > BRIEF_S:  # a busy machine made a long silence of a short one
        says += "|has sent nothing"
    answer = recorder.answer()

    assert answer["kind"] == "DeviceLost"
    assert says.split("|")[0] in answer["error"] or says.split("|")[-1] in answer["error"]
    assert answer["error"].startswith("vmic ")
    assert "\n" not in answer["error"]

    take = read_part(part).samples
    sound = take[: int(np.flatnonzero(take)[-1]) + 1]
    start = place(sound, source)
    whole = sound[: RATE_HZ - 480]  # what came before the event; after it the server may drop or repeat
    assert np.array_equal(whole, source[start : start + len(whole)])

    closing = time.monotonic()
    recorder.ask("close")
    assert recorder.leave() == 0
    assert time.monotonic() - closing < 8, "closing and leaving must not hang"
    return float(answer["at"]) - began


def test_a_short_freeze_is_told_as_a_gap(sound_server: SoundServer, tmp_path: Path) -> None:
    known_noise(tmp_path / "noise.wav", 10)
    sound_server.feed(tmp_path / "noise.wav", latency_ms=100)  # runs dry meanwhile: zeros inside the take
    recorder, part = Recorder(sound_server), tmp_path / "a.part"
    recorder.ask("open")
    recorder.tell("record", part, 2.5)
    wait_until(part, 512 + 4 * RATE_HZ // 2)
    began = time.monotonic()
    sound_server.freeze()
    time.sleep(0.4)
    sound_server.thaw()
    away_s = time.monotonic() - began
    gap_s = told_gap_s(recorder.answer())
    assert gap_s is None or 0.05 <= gap_s <= away_s + 0.1


def test_trouble_is_told_between_clips_too_and_ends(sound_server: SoundServer, tmp_path: Path) -> None:
    def muted_and_back() -> float:
        known_noise(tmp_path / "noise.wav", 20)
        sound_server.feed(tmp_path / "noise.wav")
        recorder = Recorder(sound_server)
        recorder.ask("open")
        assert recorder.ask("well")["trouble"] is None
        mute(sound_server)
        began = time.monotonic()
        answer = recorder.ask("trouble")
        assert "exact zeros" in answer["trouble"]
        sound_server.pactl("set-source-mute", "mic", "0")
        assert recorder.ask("well")["trouble"] is None
        return float(answer["at"]) - began

    in_time(muted_and_back, NOTICED_S + SLACK_S, sound_server.afresh)


def test_the_next_clip_is_recorded_after_reconnection(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "noise.wav", 20)
    sound_server.feed(tmp_path / "noise.wav")
    recorder = Recorder(sound_server)
    recorder.ask("open")
    recorder.tell("record", tmp_path / "a.part", 60)
    wait_until(tmp_path / "a.part", 512 + 4 * 4800)
    sound_server.kill()
    assert recorder.answer()["kind"] == "DeviceLost"
    assert "no microphone found" in recorder.ask("open")["error"]

    sound_server.start()
    sound_server.feed(tmp_path / "noise.wav")
    assert recorder.ask("open")["rate_hz"] == RATE_HZ
    assert recorder.ask("record", tmp_path / "b.part", 1)["seconds"] == 1.0
    take = read_part(tmp_path / "b.part").samples
    start = place(take, source)
    assert np.array_equal(take, source[start : start + RATE_HZ])
    assert recorder.leave() == 0
