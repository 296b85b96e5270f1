"""Protects what is typed: bounds told in one line and exit 2, ``--jobs`` on either side, what ``-o`` may replace."""

from __future__ import annotations

import argparse
import importlib
import shlex
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.cli.clip_files import free_name
from listen.cli.commands import build_parser
from listen.cli.main import main
from listen.cli.record import SECONDS
from listen.lab.shipped import demo_job
from listen.report.owner_words import LANGUAGES
from listen.signal.clip import Clip
from listen.switched_take import CYCLES, PERIOD_S
from listen.trade.points import Kind
from tests.rounds.made import plain


def code_of(*argv: str) -> int:
    """Exit code, wherever it is decided."""
    try:
        return main(argv)
    except SystemExit as stopped:
        return int(stopped.code or 0)


@pytest.mark.parametrize(
    "line",
    [
        "bench speed --rounds 0",
        "bench speed --workers 0",
        "bench speed --passes 0",
        "bench speed --seed -1",
        "bench accuracy --seed -1",
        "bench soak --clips 0",
        "bench crash --kills -1",
        "bench crash --folder /nonexist",
        "lab make x --seed -1",
        "lab make x --rounds 0",
        "lab make x --truths bogus+none",
        "lab make x --truths rings+rings",
        "rank x --workers ²",
        f"rank x --workers {'9' * 5000}",
        "report",
        "report x --format csv",
        "report --hit-rate",
        "--jobs ~nosuchuser/x report x",
        "lab list --lab ~nosuchuser/x",
        f"record intake --kind air -o {'a' * 252}.wav",
        "record intake --kind air --period 5 -o intake-air.wav",
        "record intake --kind quiet --cycles 3 -o intake-quiet.wav",
        "record intake --kind air --finish -o intake-air.wav",
        "key --name Una",
        "lab export Una --class",
        "bench accuracy --noise /nonexist",
        "bench accuracy --leaks /nonexist",
    ],
)
def test_what_cannot_be_meant_is_one_line_and_exit_2(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert code_of(*line.split()) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1 and said.err.startswith("hissway")


@pytest.mark.parametrize("line", ["key --list", "lab score", "lab learners"])
def test_an_empty_list_is_told_beside_the_data(line: str, capsys, monkeypatch, tmp_path: Path) -> None:
    """Nothing at all on the screen leaves one to wonder whether it was understood."""
    for name in ("HISSWAY_LAB", "HISSWAY_KEY", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    assert code_of(*line.split()) == 0
    said = capsys.readouterr()
    assert said.out == "" and said.err.startswith("no ") and said.err.count("\n") == 1


@pytest.mark.parametrize("name", ["HISSWAY_JOBS", "HISSWAY_LAB", "HISSWAY_KEY"])
def test_a_home_that_nobody_has_is_told_for_folders_from_the_environment(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(name, "~nosuchuser/x")
    argv = {"HISSWAY_JOBS": ["report", "x"], "HISSWAY_LAB": ["lab"], "HISSWAY_KEY": ["key"]}[name]
    assert main(argv) == 2
    assert "no home folder is known for ~nosuchuser" in capsys.readouterr().err


def test_an_empty_title_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lab", "make", " "]) == 2
    assert "needs a title" in capsys.readouterr().err


def test_the_jobs_folder_may_be_named_on_either_side_and_like_a_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    job = demo_job(tmp_path / "lab").name
    for argv in (["--jobs", "lab", "verify", job], ["verify", "--jobs", "lab", job]):
        assert main([*argv, "--no-results"]) == 3  # nothing vouches for the stored results
    assert code_of("--jobs", "lab", "rank", "--json", str(tmp_path / "none")) == 1
    assert '"error"' in capsys.readouterr().out


def parsers(parser: argparse.ArgumentParser, typed: str = "hissway") -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Every command and action, as it is typed."""
    for action in parser._actions:
        for name, sub in (action.choices or {}).items() if isinstance(action, argparse._SubParsersAction) else ():
            yield f"{typed} {name}", sub
            yield from parsers(sub, f"{typed} {name}")


EVERY = dict(parsers(build_parser()))


@pytest.mark.parametrize("typed", EVERY)
def test_every_command_shows_an_example_of_itself_that_can_be_typed_and_has_its_code(typed: str) -> None:
    example = str(EVERY[typed].epilog).removeprefix("Example: ")
    assert f"{example} ".startswith(f"{typed} ")
    module, function = build_parser().parse_args(shlex.split(example)[1:]).code.split(":")
    assert callable(getattr(importlib.import_module(module), function))


def test_help_tells_the_figures_and_words_that_are_used() -> None:
    told = EVERY["hissway record"].format_help()
    for what in (f"length (default: {SECONDS:g},", f"next (default: {PERIOD_S:g})", f"comes on (default: {CYCLES})"):
        assert what in " ".join(told.split())
    assert f"{{{','.join(LANGUAGES)}}}" in EVERY["hissway report"].format_help()
    assert f"{{{','.join(Kind)}}}" in told


def test_reports_and_tables_replace_nothing_but_their_like(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = demo_job(tmp_path)
    notes, journal = tmp_path / "notes.txt", job / "journal.jsonl"
    notes.write_text("mine")
    before = journal.read_bytes()
    report = ("report", str(job), "--no-audio")
    for argv in (
        (*report, "-o", str(journal)),
        (*report, "-o", str(tmp_path / "q.zip")),
        (*report, "-o", str(job / "job.json")),
        (*report, "--format", "md", "-o", str(notes)),
        ("lab", "export", "-o", str(journal)),
    ):
        assert code_of(*argv) == 2, argv
    assert (notes.read_text(), journal.read_bytes()) == ("mine", before)
    assert not (tmp_path / "q.zip").exists()
    assert capsys.readouterr().err.count("\n") == 5
    for name, form in (("a.md", ()), ("a.md", ()), ("other", ("--format", "md"))):
        assert main([*report, *form, "-o", str(tmp_path / name)]) == 0


@pytest.mark.parametrize(
    ("there", "name"),
    [
        ((), "intake-air.flac"),
        (("intake-air.flac",), "intake-air-2.flac"),
        (("intake-air-1.flac",), "intake-air-2.flac"),
        (("intake-air-2.WAV", "intake-air-7.wav", "intake-quiet-9.flac"), "intake-air-8.flac"),
        (("intake-air-loud-3.flac", "intake-air-3.txt"), "intake-air.flac"),
    ],
)
def test_a_take_is_numbered_after_the_last(tmp_path: Path, there: tuple[str, ...], name: str) -> None:
    for one in there:
        (tmp_path / one).touch()
    assert free_name(tmp_path, "intake-air").name == name


def test_titles_without_latin_letters_make_drills_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And what steers a terminal does not come out of any list."""
    monkeypatch.setenv("HISSWAY_LAB", str(tmp_path))
    for title in ("日本", "中国", "e\x1b[31mvil"):
        assert main(["lab", "make", title, "--rounds", "1", "--seconds", "0.5"]) == 0
    assert main(["lab", "learners", "--add", "Bo\x1b[2J\udcff"]) == 0
    assert main(["lab", "list"]) == 0
    said = capsys.readouterr().out
    assert "日本" in said and "中国" in said and "\x1b" not in said


def test_backgrounds_too_short_are_refused_and_shorter_clips_are_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for seconds, code, said in ((1.2, 1, "need 1.5 s at least"), (2.5, 0, "cut to as little as 0.8 s")):
        samples = np.random.default_rng(1).normal(0, 0.1, round(48_000 * seconds))
        place = tmp_path / f"{seconds}"
        place.mkdir()
        write_clip(place / "a.flac", Clip.of(samples, 48_000))
        make = ["lab", "make", "x", "--rounds", "1", "--backgrounds", str(place), "-o", str(place / "drill")]
        assert main(make) == code
        assert said in capsys.readouterr().err


def test_a_clips_fault_names_its_round(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = plain(tmp_path / "intake")
    (folder / "intake-air-1.flac").write_text("no sound")
    assert main(["rank", str(folder)]) == 1
    assert capsys.readouterr().err.startswith(f"hissway: {folder}: intake-air-1.flac: ")
