"""Protects against bad sound: one clear line for each bad round, the others go on, exit code 1."""

from __future__ import annotations

import json
import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from listen.cli.main import main
from tests.rounds.made import RATE_HZ, noise, ordinary_user, plain

AIR = "intake-air-1.flac"


def _replace(folder: Path, data: bytes, name: str = AIR) -> None:
    (folder / name).write_bytes(data)


def _text_as_wav(folder: Path) -> None:
    (folder / AIR).unlink()
    _replace(folder, b"this is a note, not a sound\n" * 100, "intake-air-1.wav")


def _torn(folder: Path) -> None:
    whole = (folder / AIR).read_bytes()
    _replace(folder, whole[: len(whole) // 2])


def _torn_wav(folder: Path) -> None:
    (folder / AIR).unlink()
    soundfile.write(folder / "intake-air-1.wav", noise(1), RATE_HZ, subtype="PCM_16")
    whole = (folder / "intake-air-1.wav").read_bytes()
    _replace(folder, whole[: len(whole) // 2], "intake-air-1.wav")


def _samples(x: np.ndarray, rate_hz: int = RATE_HZ, subtype: str = "FLOAT") -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        (folder / AIR).unlink()
        soundfile.write(folder / "intake-air-1.wav", x, rate_hz, subtype=subtype)

    return write


def _with(value: float) -> np.ndarray:
    x = noise(1)
    x[1000] = value
    return x


def _folder_as_clip(folder: Path) -> None:
    (folder / AIR).unlink()
    (folder / AIR).mkdir()


def _no_quiet(folder: Path) -> None:
    for path in folder.glob("*-quiet-*"):
        path.unlink()


def _pipe(folder: Path) -> None:
    (folder / AIR).unlink()
    os.mkfifo(folder / AIR)


def _link(folder: Path) -> None:
    (folder / AIR).unlink()
    (folder / AIR).symlink_to("nowhere.flac")


BAD: dict[str, tuple[Callable[[Path], None], str]] = {
    "not sound": (lambda f: _replace(f, bytes(range(256)) * 40), "not a sound file we can read"),
    "text as wav": (_text_as_wav, "not a sound file we can read"),
    "empty": (lambda f: _replace(f, b""), "empty file"),
    "torn flac": (_torn, "cut off"),
    "torn wav": (_torn_wav, "cut off"),
    "NaN": (_samples(_with(float("nan"))), "not a number|NaN|finite"),
    "infinity": (_samples(_with(float("inf"))), "infini|finite"),
    "8 bits": (_samples(noise(1, rms=0.1), subtype="PCM_U8"), "8 bits hide the hiss"),
    "mu-law": (_samples(noise(1, rms=0.1), subtype="ULAW"), "8 bits hide the hiss"),
    "no samples": (_samples(np.zeros(0)), "holds no samples|empty"),
    "rate too low": (_samples(noise(1, rate_hz=4000), 4000), "sample rate 4000 Hz"),
    "rate too high": (_samples(noise(1), 384_000), "sample rate 384000 Hz"),
    "too long": (_samples(np.zeros(8000 * 601), 8000, "PCM_16"), "at most 600 s"),
    "mixed rates": (_samples(noise(1, rate_hz=44_100), 44_100), "44100|44,100|44.1"),
    "no quiet": (_no_quiet, "no quiet one"),
    "no air": (lambda f: (f / AIR).unlink(), "no air clip at any point"),
    "folder as clip": (_folder_as_clip, "not a file"),
    "pipe as clip": (_pipe, "not a file"),
    "dangling link": (_link, "cannot be read|no such file"),
    "broken facts": (lambda f: _replace(f, b"{", "round.json"), "round.json"),
    "unknown name": (lambda f: _replace(f, b"", "tailpipe-hum-1.wav"), "does not say point and kind"),
}


@dataclass(frozen=True)
class Ranked:
    """What ``rank`` gave for all of ``BAD`` between two good rounds, as a table and as JSON."""

    said: list[str]
    """Lines on standard error of the table, one a bad round."""
    lines: list[dict[str, Any]]
    said_with_json: list[str]


@pytest.fixture(scope="module")
def ranked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ranked]:
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path_factory.mktemp("rounds"))
        yield _ranked()


def _ranked() -> Ranked:
    rounds = ["one", *map(str, range(len(BAD))), "two"]
    good = plain(Path("good"))
    for name in rounds:
        shutil.copytree(good, name)
    for name, (spoil, _) in zip(rounds[1:-1], BAD.values(), strict=True):
        spoil(Path(name))
    out, err = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        assert main(["rank", *rounds]) == 1
    assert [line for line in out.getvalue().splitlines() if not line.startswith(" ")] == ["one", "two"]
    out, err_json = StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err_json):
        assert main(["rank", "--json", *rounds]) == 1
    lines = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [line["round"] for line in lines] == rounds
    assert "error" not in lines[0] and "error" not in lines[-1]
    return Ranked(err.getvalue().splitlines(), lines[1:-1], err_json.getvalue().splitlines())


@pytest.mark.parametrize("what", BAD)
def test_one_clear_line_and_the_others_go_on(what: str, ranked: Ranked) -> None:
    """Bad rounds between two good ones: two results, one line on stderr (or an error object) each, exit 1."""
    assert len(ranked.said) == len(ranked.lines) == len(BAD)
    at = list(BAD).index(what)
    said, line = ranked.said[at], ranked.lines[at]
    assert said.startswith("hissway: ")
    assert "Traceback" not in said
    assert re.search(BAD[what][1], said), said
    assert sorted(line) == ["error", "round"]
    assert said == f"hissway: {line['error']}"


@pytest.mark.parametrize("what", ["folder", "clip", "facts"])
def test_without_permission(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What may not be read is told as that."""
    monkeypatch.chdir(tmp_path)
    tmp_path.chmod(0o755)
    folder = plain(Path("round"))
    (folder / "round.json").write_text("{}")
    locked = {"folder": folder, "clip": folder / AIR, "facts": folder / "round.json"}[what]
    locked.chmod(0)
    try:
        with ordinary_user():
            assert main(["rank", "round"]) == 1
    finally:
        locked.chmod(0o700)
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "cannot be read (Permission denied" in said
    assert locked.name in said


def test_a_round_where_every_clip_is_refused_still_has_a_result(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Digital silence is no error but no evidence either: null with a flag, and nothing is named."""
    folder = plain(tmp_path / "round")
    for path in folder.iterdir():
        soundfile.write(path, np.zeros(RATE_HZ * 2), RATE_HZ, subtype="PCM_24")
    assert main(["rank", "--json", str(folder)]) == 0
    result = json.loads(capsys.readouterr().out)
    (point,) = result["points"]
    assert point["excess_db"] is None
    assert "silent" in {f["flag"] for f in point["flags"]}
    assert result["verdict"]["kind"] == "unclear"
