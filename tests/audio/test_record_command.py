"""``hissway record`` and ``hissway mic`` as a user runs them, on a real stream, one process a clip."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from listen.audio.files import read_clip
from tests.audio.streams import known_noise, place, wait_until
from tests.patience import in_time
from tests.sound_server import RATE_HZ, SoundServer, ahead

HISSWAY = (sys.executable, "-m", "tui")


def record(server: SoundServer, *words: str | Path) -> subprocess.CompletedProcess[str]:
    return server.run(*HISSWAY, "record", *map(str, words))


def started(server: SoundServer, *words: str | Path) -> subprocess.Popen[str]:
    pipe = subprocess.PIPE
    command = [*HISSWAY, "record", *map(str, words)]
    # A shell starts jobs in its background with Ctrl-C ignored, and children inherit that: undo it for the child.
    heeding = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    process = subprocess.Popen(
        [*ahead(), *command], env=server.env, stdout=pipe, stderr=pipe, text=True, preexec_fn=heeding
    )
    return server._child(process)  # type: ignore[no-untyped-call, no-any-return]


def digests(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


@pytest.fixture
def playing(sound_server: SoundServer, tmp_path: Path) -> np.ndarray:
    """Half a minute of known noise on its way into the microphone [shape=(n,)]."""
    source = known_noise(tmp_path / "noise.wav", 30)
    sound_server.feed(tmp_path / "noise.wav")
    return source


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "round").mkdir()
    return tmp_path / "round"


@pytest.mark.parametrize("name", ["intake-air.flac", "intake-air.wav"])
def test_a_clip_is_written_exactly_and_said(
    sound_server: SoundServer, playing: np.ndarray, folder: Path, name: str
) -> None:
    done = record(sound_server, "intake", "--kind", "air", "--seconds", "2", "--device", "vmic", "-o", folder / name)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == f"{folder / name}: 2.00 s at 48000 Hz from vmic"
    clip = read_clip(folder / name)
    start = place(clip.samples, playing)
    assert np.array_equal(clip.samples, playing[start : start + 2 * RATE_HZ])
    assert clip.device == "vmic"
    assert clip.taken is not None
    assert [p.name for p in folder.iterdir()] == [name]


def test_takes_into_a_folder_are_named_and_numbered(
    sound_server: SoundServer, playing: np.ndarray, folder: Path
) -> None:
    words = ("plug-hole-2", "--kind", "quiet", "--seconds", "0.5", "--device", "vmic", "-o", folder)
    for _ in range(2):
        assert record(sound_server, *words).returncode == 0
    assert sorted(p.name for p in folder.iterdir()) == ["plug-hole-2-quiet-2.flac", "plug-hole-2-quiet.flac"]


def test_nothing_is_replaced_unasked(sound_server: SoundServer, playing: np.ndarray, folder: Path) -> None:
    (folder / "intake-air.flac").write_bytes(b"mine")
    words = ("intake", "--kind", "air", "--seconds", "0.5", "--device", "vmic", "-o", folder / "intake-air.flac")
    done = record(sound_server, *words)
    assert done.returncode == 2
    assert "is there already" in done.stderr
    assert (folder / "intake-air.flac").read_bytes() == b"mine"
    assert record(sound_server, *words, "--force").returncode == 0
    assert read_clip(folder / "intake-air.flac").seconds == 0.5


def test_the_server_dies_in_the_middle_of_a_clip(sound_server: SoundServer, playing: np.ndarray, folder: Path) -> None:
    words = ("intake", "--kind", "quiet", "--seconds", "1", "--device", "vmic", "-o", folder / "intake-quiet.flac")
    assert record(sound_server, *words).returncode == 0
    before = digests(folder)
    part = folder / "intake-air.flac.part"
    words = ("intake", "--kind", "air", "--seconds", "20", "--device", "vmic", "-o", folder / "intake-air.flac")

    def noticed_s() -> float:
        if part.exists():  # left by a late trial
            part.unlink()
            sound_server.feed(folder.parent / "noise.wav")
        process = started(sound_server, *words)
        wait_until(part, 512 + 4 * RATE_HZ)
        sound_server.kill()
        died = time.monotonic()
        out, err = process.communicate(timeout=20)
        took = time.monotonic() - died
        assert (process.returncode, out) == (1, "")
        assert err.count("\n") == 1
        assert "vmic has gone" in err
        assert "--finish makes intake-air.flac" in err
        assert digests(folder) == before | {part.name: digests(folder)[part.name]}
        return took

    in_time(noticed_s, 1.3, sound_server.afresh)
    again = record(sound_server, *words)
    assert again.returncode == 2
    assert "--finish" in again.stderr
    done = record(sound_server, *words, "--finish")
    assert done.returncode == 0
    clip = read_clip(folder / "intake-air.flac")
    assert clip.seconds >= 1.0
    sounding = clip.samples[: RATE_HZ - 480]
    start = place(sounding, playing)
    assert np.array_equal(sounding, playing[start : start + len(sounding)])
    assert not part.exists()


def test_ctrl_c_leaves_nothing_half_named(sound_server: SoundServer, folder: Path) -> None:
    words = ("intake", "--kind", "air", "--seconds", "20", "--device", "vmic", "-o", folder / "intake-air.flac")
    known_noise(folder.parent / "noise.wav", 30)

    def left_s() -> float:
        sound_server.feed(folder.parent / "noise.wav")
        process = started(sound_server, *words)
        wait_until(folder / "intake-air.flac.part", 512 + 4 * RATE_HZ // 2)
        process.send_signal(signal.SIGINT)
        asked = time.monotonic()
        out, err = process.communicate(timeout=20)
        took = time.monotonic() - asked
        assert (process.returncode, out) == (130, ""), err
        assert "nothing was kept" in err
        assert "Traceback" not in err
        assert list(folder.iterdir()) == []
        return took

    in_time(left_s, 1.5, sound_server.afresh)


def test_sigkill_leaves_a_part_that_finish_saves(sound_server: SoundServer, playing: np.ndarray, folder: Path) -> None:
    words = ("intake", "--kind", "air", "--seconds", "20", "--device", "vmic", "-o", folder / "intake-air.flac")
    process = started(sound_server, *words)
    wait_until(folder / "intake-air.flac.part", 512 + 4 * RATE_HZ)
    process.kill()
    process.communicate()
    assert [p.name for p in folder.iterdir()] == ["intake-air.flac.part"]
    assert record(sound_server, *words, "--finish").returncode == 0
    assert read_clip(folder / "intake-air.flac").seconds >= 1.0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("inteke", "--kind", "air"), "unknown listening point 'inteke'; known: intake tailpipe"),
        (("intake", "--kind", "loud"), "invalid choice: 'loud'"),
        (("intake", "--kind", "air", "--seconds", "0"), "--seconds 0: from 0.2 to 600 s"),
        (("intake", "--kind", "air", "--seconds", "nan"), "--seconds nan: from 0.2 to 600 s"),
        (("intake",), "--kind"),
    ],
)
def test_what_it_does_not_know_is_exit_2_and_one_line(folder: Path, words: tuple[str, ...], says: str) -> None:
    command = [*HISSWAY, "record", *words, "-o", str(folder / "intake-air.flac")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30)
    assert done.returncode == 2
    assert says in done.stderr
    assert done.stderr.count("\n") == 1
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    ("output", "says"),
    [("a.mp3", "written as .flac or .wav"), ("gone/a.flac", "no such folder"), ("a.flac", "no inputs called 'xyz'")],
)
def test_where_it_cannot_write_or_hear(sound_server: SoundServer, folder: Path, output: str, says: str) -> None:
    done = record(sound_server, "intake", "--kind", "air", "--device", "xyz", "-o", folder / output)
    assert done.returncode in (1, 2)
    assert says in done.stderr
    assert list(folder.iterdir()) == []


def test_mic_lists_and_checks(sound_server: SoundServer, playing: np.ndarray) -> None:
    listed = sound_server.run(*HISSWAY, "mic")
    assert listed.returncode == 0
    assert "vmic" in listed.stdout
    rows = json.loads(sound_server.run(*HISSWAY, "mic", "--json").stdout)["inputs"]
    assert "vmic" in [row["name"] for row in rows]
    checked = sound_server.run(*HISSWAY, "mic", "--device", "vmic", "--json")
    said = json.loads(checked.stdout)
    assert (said["device"], said["rate_hz"], said["clipped"]) == ("vmic", RATE_HZ, False)
    assert said["bandwidth_hz"] > 20_000
    assert said["verdict"] in ("good", "usable")


def test_mic_says_what_a_muted_one_does(sound_server: SoundServer) -> None:
    done = sound_server.run(*HISSWAY, "mic", "--device", "vmic")
    assert done.returncode == 1
    assert "exact zeros" in done.stderr
    assert done.stdout == ""


def test_no_microphone_at_all_is_one_line(sound_server: SoundServer) -> None:
    sound_server.kill()
    done = sound_server.run(*HISSWAY, "mic")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "hissway: no microphone found; plug one in and try again\n"


def test_a_terminal_gets_a_countdown_with_the_level(
    sound_server: SoundServer, playing: np.ndarray, folder: Path
) -> None:
    near, far = os.openpty()
    words = ["record", "intake", "--kind", "air", "--seconds", "1", "--device", "vmic", "-o", str(folder)]
    process = subprocess.Popen([*HISSWAY, *words], env=sound_server.env, stdout=subprocess.PIPE, stderr=far)
    process.communicate(timeout=30)
    os.close(far)
    drawn = os.read(near, 100_000).decode()
    os.close(near)
    assert process.returncode == 0
    assert "0.5 s left" in drawn
    level_db = 20 * np.log10(np.sqrt(np.mean(np.square(playing))))
    assert f"{level_db:6.1f} dBFS"[:3] in drawn
    assert "\n" not in drawn, "one line, drawn over itself"
