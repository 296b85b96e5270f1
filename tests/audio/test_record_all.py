"""``hissway record --all`` and switched takes on a real stream: four channels of one input, a file a point."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.audio.files import read_clip
from tests.audio.streams import place, wait_until
from tests.audio.test_record_command import record, started
from tests.sound_server import RATE_HZ, SoundServer

POINTS = ("intake", "tailpipe", "oil-filler", "radiator")
CHANNELS = ",".join(POINTS)


def _noise(path: Path, seconds: float, **changes: tuple[float, float]) -> np.ndarray:
    """Four channels of noise of 24-bit values, a seed each; ``changes`` by point: from when on, times what."""
    rng = np.random.default_rng(7)
    n = round(seconds * RATE_HZ)
    steps = rng.integers(1, 2**18, (n, 4)) * rng.choice((-1, 1), (n, 4))
    samples = (steps / 2**23).astype(np.float32)
    for name, (from_s, gain) in changes.items():
        channel = samples[round(from_s * RATE_HZ) :, POINTS.index(name.replace("_", "-"))]
        np.clip(channel * np.float32(gain), -1.0, 1.0, out=channel)
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    return samples


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "round").mkdir()
    return tmp_path / "round"


def test_four_channels_to_the_sample(sound_server: SoundServer, tmp_path: Path, folder: Path) -> None:
    """A switched take: every point its own file, all beginning at the same sample, the commands beside them."""
    source = _noise(tmp_path / "four.wav", 30)
    sound_server.feed(tmp_path / "four.wav", device="vmic4")
    words = ("--all", "--channels", CHANNELS, "--kind", "switched", "--period", "2", "--cycles", "2")
    done = record(sound_server, *words, "--device", "vmic4", "-o", folder)
    assert done.returncode == 0, done.stderr
    starts = set()
    for i, point in enumerate(POINTS):
        clip = read_clip(folder / f"{point}-switched.flac")
        assert len(clip.samples) == 5 * RATE_HZ
        start = place(clip.samples, source[:, i])
        assert np.array_equal(clip.samples, source[start : start + 5 * RATE_HZ, i])
        starts.add(start)
    assert len(starts) == 1
    said = json.loads((folder / "round.json").read_text())["files"]
    assert set(said) == {f"{p}-switched" for p in POINTS}
    assert said["intake-switched"]["switched"]["on_s"] == [[1.0, 2.0], [3.0, 4.0]]
    assert len({f["together"] for f in said.values()}) == 1


def test_a_dead_and_a_clipped_channel_are_told_and_the_others_kept(
    sound_server: SoundServer, tmp_path: Path, folder: Path
) -> None:
    """Within a second of what happened, while the take goes on."""
    _noise(tmp_path / "four.wav", 30, tailpipe=(8.0, 0.0), oil_filler=(8.0, 4e3))
    sound_server.feed(tmp_path / "four.wav", device="vmic4")
    fed = time.monotonic()
    words = ("--all", "--channels", CHANNELS, "--kind", "quiet", "--seconds", "12", "--device", "vmic4", "-o", folder)
    process = started(sound_server, *words)
    assert process.stderr is not None
    told = {}
    for line in process.stderr:
        told["clips" if "clips" in line else "dead" if "zeros" in line else line] = (line, time.monotonic() - fed)
    assert process.wait(20) == 1
    assert set(told) == {"clips", "dead"}, told
    assert "channel 2" in told["dead"][0]
    assert "channel 3" in told["clips"][0]
    assert abs(told["dead"][1] - told["clips"][1]) < 1.5  # exact zeros take 0.75 s to be sure of
    kept = sorted(p.name for p in folder.iterdir())
    assert kept == ["intake-quiet.flac", "oil-filler-quiet.flac", "radiator-quiet.flac"]
    assert all(read_clip(folder / name).seconds == 12.0 for name in kept)


def test_killed_loses_at_most_the_last_second(sound_server: SoundServer, tmp_path: Path, folder: Path) -> None:
    """SIGKILL, then --finish: every channel to nearly the end, exact; a dead one costs those behind it nothing."""
    source = _noise(tmp_path / "four.wav", 30, tailpipe=(0.0, 0.0))
    sound_server.feed(tmp_path / "four.wav", device="vmic4")
    words = ("--all", "--channels", CHANNELS, "--kind", "air", "--device", "vmic4", "-o", folder)
    process = started(sound_server, *words, "--seconds", "20")
    wait_until(folder / "radiator-air.flac.part", 3 * RATE_HZ * 4)
    process.send_signal(signal.SIGKILL)
    process.wait()
    done = record(sound_server, *words, "--finish")
    assert (done.returncode, "tailpipe-air.flac.part: no sound" in done.stderr) == (1, True), done.stderr
    for i, point in [(i, p) for i, p in enumerate(POINTS) if p != "tailpipe"]:
        clip = read_clip(folder / f"{point}-air.flac")
        assert clip.seconds > 2.0
        start = place(clip.samples, source[:, i])
        assert np.array_equal(clip.samples, source[start : start + len(clip.samples), i])


def test_the_input_goes_in_mid_take(sound_server: SoundServer, tmp_path: Path, folder: Path) -> None:
    """One sentence, and what arrived is there to be finished."""
    _noise(tmp_path / "four.wav", 30)
    sound_server.feed(tmp_path / "four.wav", device="vmic4")
    words = ("--all", "--channels", CHANNELS, "--kind", "air", "--device", "vmic4", "-o", folder)
    process = started(sound_server, *words, "--seconds", "20")
    wait_until(folder / "radiator-air.flac.part", 2 * RATE_HZ * 4)
    sound_server.kill()
    _, err = process.communicate(timeout=20)
    assert process.returncode == 1
    assert "--finish" in err
    assert "Traceback" not in err


def test_fewer_channels_than_named(sound_server: SoundServer, folder: Path) -> None:
    done = record(
        sound_server, "--all", "--channels", "intake,tailpipe", "--kind", "air", "--device", "vmic", "-o", folder
    )
    assert done.returncode == 1
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--all", "--kind", "air"), "--channels"),
        (("--all", "--channels", "intake", "--kind", "air"), "from 2 to 16"),
        (("--all", "--channels", "intake,intake", "--kind", "air"), "once"),
        (("--all", "--channels", "intake,cellar", "--kind", "air"), "unknown listening point"),
        (("--all", "--channels", "intake,-,tailpipe,intake", "--kind", "air"), "once"),
        (("intake", "--channels", "intake,tailpipe", "--kind", "air"), "--all"),
        (("--kind", "air"), "POINT"),
        (("intake", "--kind", "switched", "--seconds", "5"), "--seconds"),
        (("intake", "--kind", "switched", "--cycles", "1"), "--cycles"),
        (("intake", "--kind", "switched", "--period", "0.5"), "--period"),
    ],
)
def test_what_cannot_be_is_told(
    words: tuple[str, ...], expected: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from listen.cli.main import main

    assert main(["record", *words, "-o", str(folder / "x.flac" if "--all" not in words else folder)]) == 2
    assert expected in capsys.readouterr().err
