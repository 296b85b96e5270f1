"""Protects the three commands of exchange: data on stdout, talk on stderr, exit codes, one line for every failure."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from listen.cli.main import main
from listen.jobs import events as ev
from listen.jobs.folder.store import open_job
from listen.rounds.evaluate import evaluate
from tests.jobs.shop import small_job


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One judged job, to be copied with what lies beside it."""
    return small_job(tmp_path_factory.mktemp("made") / "here", seconds=1.0, judge=evaluate)


@pytest.fixture
def job(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HISSWAY_JOBS", str(tmp_path / "here"))
    monkeypatch.chdir(tmp_path)
    return shutil.copytree(made.parent, tmp_path / "here") / made.name


def test_pack_unpack_verify(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By the beginning of its name to a zip, to another machine's jobs, verified at both ends."""
    assert main(["pack", job.name[:17], "-o", "out.zip"]) == 0
    assert capsys.readouterr().out.startswith("out.zip  ")
    assert main(["--jobs", str(tmp_path / "there"), "unpack", "out.zip"]) == 0
    said = capsys.readouterr()
    there = Path(said.out.strip())
    assert there.parent == tmp_path / "there"
    assert said.err.startswith("new: ")
    for what in (str(job), "out.zip", str(there)):
        assert main(["verify", what]) == 0
        assert "4 clips, 0 signatures, 1 result checked; all match" in capsys.readouterr().out


def test_verify_tells_what_does_not_match(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1, the file by name; the same as JSON."""
    clip = sorted((job / "clips").iterdir())[0]
    clip.write_bytes(clip.read_bytes()[:-1])
    assert main(["verify", str(job), "--no-results"]) == 1
    assert f"MISMATCH   clip: clips/{clip.name}" in capsys.readouterr().out
    assert main(["verify", str(job), "--no-results", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert not found["ok"]
    assert found["mismatches"][0]["name"] == f"clips/{clip.name}"


@pytest.mark.parametrize(
    "argv",
    [
        ["pack", "no-such-job"],
        ["pack", ""],
        ["unpack", "no-such.zip"],
        ["verify", "no-such"],
        ["verify", "text.zip"],
        ["unpack", "text.zip"],
        ["pack", ".", "-o", "x.zip"],
        ["pack", "JOB", "-o", "no/such/folder/x.zip"],
        ["pack", "EMPTY", "-o", "x.zip"],
        ["report", "EMPTY", "-o", "x.html"],
    ],
)
def test_failures_are_one_line(job: Path, tmp_path: Path, argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1, nothing on stdout, one line on stderr."""
    (tmp_path / "text.zip").write_text("hello")
    (tmp_path / "EMPTY").mkdir()
    (tmp_path / "EMPTY" / "journal.jsonl").touch()
    assert main([str(job) if a == "JOB" else a for a in argv]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("hissway: ")
    assert said.err.count("\n") == 1
    assert "pulled out" not in said.err
    assert not list(tmp_path.glob("x.*"))


def test_verify_doubts_an_empty_journal_and_a_summary_that_cannot_be(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither is a success, neither a traceback."""
    summary = json.loads((job / "job.json").read_text())
    (job / "job.json").write_text(json.dumps(summary | {"events": -500}))
    assert main(["verify", str(job), "--no-results"]) == 1
    assert "job.json: is damaged" in capsys.readouterr().out
    (job / "job.json").unlink()
    (job / "journal.jsonl").write_bytes(b"")
    assert main(["verify", str(job), "--no-results"]) == 1
    assert "journal.jsonl: is empty" in capsys.readouterr().out


def test_a_strangers_names_do_not_steer_the_terminal(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Escape sequences in a title come out as replacement characters."""
    with open_job(job) as opened:
        opened.append(ev.JobNamed(title="\x1b[2Jevil\n"))
    assert main(["verify", str(job), "--no-results"]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "\u25af[2Jevil" in out


def test_an_ambiguous_name_lists_the_choices(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two jobs of the same day: give more of the name."""
    small_job(tmp_path / "here", "Other")
    assert main(["pack", job.name[:10]]) == 1
    assert "any of 2 jobs" in capsys.readouterr().err
