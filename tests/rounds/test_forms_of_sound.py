"""Protects what files a round may consist of: every rate, width, channel count and container names the same leak."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from listen.cli.main import main
from listen.lab.simulator.draw import draw
from listen.lab.simulator.render import clip_name, render
from listen.lab.simulator.worlds.world import Wishes
from listen.trade.points import PathId
from tests.rounds.made import BRACKET, POINTS, RATE_HZ

RATES_HZ = (8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000)
FORMS = {
    "int16": ("PCM_16", ("WAV", "FLAC")),
    "int24": ("PCM_24", ("WAV", "FLAC")),
    "int32": ("PCM_32", ("WAV",)),
    "float32": ("FLOAT", ("WAV",)),
    "float64": ("DOUBLE", ("WAV",)),
}
CASES = [
    (RATE_HZ, channels, subtype, container)
    for channels in (1, 2)
    for subtype, containers in FORMS.values()
    for container in containers
] + [
    (rate_hz, *form)
    for rate_hz in RATES_HZ
    if rate_hz != RATE_HZ
    for form in ((1, "PCM_16", "FLAC"), (2, "DOUBLE", "WAV"))
]
"""Every form at 48 kHz; the narrowest and the widest at every other one."""

Made = dict[int, dict[str, np.ndarray]]


@pytest.fixture(scope="module")
def made() -> Made:
    """The same leak simulated once at each rate, samples by clip name."""
    return {rate_hz: _simulated(rate_hz) for rate_hz in RATES_HZ}


def _simulated(rate_hz: int) -> dict[str, np.ndarray]:
    wishes = Wishes(
        paths=(PathId.EXHAUST_VALVE,),
        hiss_db=16.0,
        points=POINTS[:2],
        seconds=1.5,
        takes=BRACKET,
        rate_hz=rate_hz,
        drift_db=0.1,
        firing_order=(1, 3, 4, 2),
    )
    spec = draw(np.random.default_rng(7), "report", wishes=wishes)
    return {clip_name(key): clip.samples for key, clip in render(spec).items()}


def _write(
    folder: Path, clips: dict[str, np.ndarray], rate_hz: int, channels: int, subtype: str, container: str
) -> Path:
    """Our samples on channel 0; another sound, the same in quiet and air, on channel 1."""
    other = 0.05 * np.random.default_rng(1).standard_normal(len(next(iter(clips.values()))))
    folder.mkdir()
    for name, samples in clips.items():
        x = samples if channels == 1 else np.stack([samples, other], axis=1)
        soundfile.write(
            folder / Path(name).with_suffix(f".{container.lower()}"), x, rate_hz, subtype=subtype, format=container
        )
    return folder


def _rank(capsys: pytest.CaptureFixture[str], *argv: str) -> dict[str, Any]:
    assert main(["rank", "--json", *argv]) == 0
    result: dict[str, Any] = json.loads(capsys.readouterr().out)
    return result


@pytest.mark.parametrize(("rate_hz", "channels", "subtype", "container"), CASES)
def test_the_planted_leak_is_named(
    made: Made,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    rate_hz: int,
    channels: int,
    subtype: str,
    container: str,
) -> None:
    """A plain leak past the exhaust valve, in whatever form it was recorded; below 32 kHz a flag says what is lost."""
    folder = _write(tmp_path / "r", made[rate_hz], rate_hz, channels, subtype, container)
    result = _rank(capsys, str(folder))
    assert result["verdict"]["paths"] == ["exhaust-valve"], result["verdict"]
    flags = {f["flag"] for p in result["points"] for f in p["flags"]}
    assert ("low-rate" in flags) == (rate_hz < 32_000)


def test_what_is_wrong_with_every_clip_is_said_once(
    made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Eighteen lines of one low rate hid the verdict of a walk below them."""
    folder = _write(tmp_path / "r", made[16_000], 16_000, 1, "PCM_16", "WAV")
    assert main(["rank", str(folder)]) == 0
    lines = [line.strip() for line in capsys.readouterr().out.splitlines() if "low-rate" in line]
    assert len(lines) == 1
    assert lines[0].startswith("low-rate at intake, tailpipe: ")
    assert len(_rank(capsys, str(folder))["points"]) > 1


def test_channel_chooses(made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--channel 0 is the mono file to the last digit, channel 1 is the other sound, channel 2 is told as missing."""
    mono = _write(tmp_path / "mono", made[RATE_HZ], RATE_HZ, 1, "PCM_24", "WAV")
    stereo = _write(tmp_path / "stereo", made[RATE_HZ], RATE_HZ, 2, "PCM_24", "WAV")
    first = _rank(capsys, str(stereo), "--channel", "0")
    assert first | {"round": ""} == _rank(capsys, str(mono)) | {"round": ""}
    other = _rank(capsys, str(stereo), "--channel", "1")
    assert not any(p["detected"] for p in other["points"])
    assert main(["rank", str(stereo), "--channel", "2"]) == 1
    assert "no channel 2; it has 2, counted from 0" in capsys.readouterr().err


def test_forms_agree(made: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """24 bits in WAV or FLAC are the same samples, so the same result to the last digit; float differs by rounding."""
    results = {
        (subtype, container): _rank(
            capsys, str(_write(tmp_path / (subtype + container), made[RATE_HZ], RATE_HZ, 1, subtype, container))
        )
        for subtype, container in (("PCM_24", "WAV"), ("PCM_24", "FLAC"), ("DOUBLE", "WAV"))
    }
    wav, flac, double = results.values()
    assert wav["points"] == flac["points"]
    assert wav["paths"] == flac["paths"]
    for a, b in zip(wav["points"], double["points"], strict=True):
        assert a["excess_db"] == pytest.approx(b["excess_db"], abs=0.02)
