"""Where no clip of a round can be used it says so, why, and what to do; no odds are made up."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.cli.main import main
from listen.errors import HisswayError
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder

RATE_HZ = 48_000


def stereo(folder: Path, left: float, right: float) -> Path:
    """Two points, quiet and air, noise of these levels in the two channels."""
    folder.mkdir()
    rng = np.random.default_rng(1)
    for point in ("intake", "tailpipe"):
        for kind in ("quiet", "air"):
            sound = rng.normal(size=(3 * RATE_HZ, 2)) * (left, right)
            soundfile.write(folder / f"{point}-{kind}-1.flac", sound, RATE_HZ, subtype="PCM_16")
    return folder


def test_a_dead_channel_is_said_and_the_one_with_sound_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = stereo(tmp_path / "dead", 0.0, 0.01)
    assert main(["rank", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "none of the clips can be used (4 clips: the clip is silent to the last digit)" in said
    assert "--channel 1" in said
    assert "odds" not in said and "%" not in said.replace("95 % interval", "")
    assert main(["rank", "--json", str(folder)]) == 0
    line = json.loads(capsys.readouterr().out)
    assert line["paths"] == [] and line["verdict"]["kind"] == "unclear"
    assert main(["rank", "--channel", "1", "--json", str(folder)]) == 0
    assert json.loads(capsys.readouterr().out)["paths"]


def test_silence_in_every_channel_names_none(tmp_path: Path) -> None:
    verdict = evaluate(read_folder(stereo(tmp_path / "silent", 0.0, 0.0))).verdict
    assert "--channel" not in verdict.next and "check the cable" in verdict.next.lower()


def test_a_voice_path_is_said_with_its_own_advice(tmp_path: Path) -> None:
    """A headset in call mode: nothing above 3.4 kHz in any clip."""
    folder = tmp_path / "voice"
    folder.mkdir()
    rng = np.random.default_rng(2)
    keep = np.fft.rfftfreq(4 * RATE_HZ, 1 / RATE_HZ) < 3_400
    for kind in ("quiet", "air"):
        noise = np.fft.irfft(np.fft.rfft(rng.normal(size=4 * RATE_HZ) * 0.01) * keep)
        soundfile.write(folder / f"intake-{kind}-1.wav", noise, RATE_HZ, subtype="PCM_24")
    result = evaluate(read_folder(folder))
    assert result.paths == ()
    assert "none of the clips can be used" in result.verdict.text
    assert "choose another input" in result.verdict.next + result.verdict.text


def test_one_good_point_is_enough_for_odds(tmp_path: Path) -> None:
    folder = stereo(tmp_path / "half", 0.01, 0.01)
    for kind in ("quiet", "air"):
        soundfile.write(folder / f"tailpipe-{kind}-1.flac", np.zeros(3 * RATE_HZ), RATE_HZ, subtype="PCM_16")
    try:
        assert evaluate(read_folder(folder)).paths
    except HisswayError as refused:
        pytest.fail(str(refused))
