"""Protects what leaves the program: UTF-8 in files whatever the locale, any name said, a full disk in one sentence."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from listen.lab.shipped import demo_job
from tests.rounds.made import plain

PROGRAM = (sys.executable, "-c", "from tui.entry import main; raise SystemExit(main())")
ROOT = Path(__file__).resolve().parents[2]


def ran(*argv: str | bytes | Path, to: str = "", **env: str) -> subprocess.CompletedProcess[bytes]:
    """One command in a process of its own; ``to`` redirects as a shell does."""
    here = {k: v for k, v in os.environ.items() if k != "PYTHONUNBUFFERED"} | {"PYTHONPATH": str(ROOT)} | env
    shell = ("bash", "-c", f'exec "$@" {to}', "bash")
    return subprocess.run([*shell, *PROGRAM, *argv], env=here, capture_output=True, timeout=120, check=False)


@pytest.mark.parametrize("env", [{"PYTHONIOENCODING": "cp1252"}, {"PYTHONIOENCODING": "ascii"}, {"LC_ALL": "C"}])
def test_a_report_sent_to_a_file_is_utf_8_whatever_the_locale(env: dict[str, str], tmp_path: Path) -> None:
    page = ran("report", demo_job(tmp_path), "--no-audio", "--format", "md", **env)
    assert page.returncode == 0, page.stderr
    assert "±" in page.stdout.decode() or not page.stdout.isascii()


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux takes names that are no UTF-8")
def test_a_name_that_is_no_utf_8_is_said_as_far_as_it_goes(tmp_path: Path) -> None:
    plain(tmp_path / "r").rename(os.fsdecode(os.fsencode(tmp_path) + b"/r\xff"))
    folder = os.fsencode(tmp_path) + b"/r\xff"
    table, line = ran("rank", folder), ran("rank", folder, "--json")
    assert (table.returncode, table.stderr, line.returncode, line.stderr) == (0, b"", 0, b"")
    assert table.stdout.splitlines()[0].decode() == json.loads(line.stdout)["round"] == rf"{tmp_path}/r\udcff"
    missing = ran("rank", "--json", folder + b"\xfe")
    assert missing.returncode == 1
    assert "no such folder" in json.loads(missing.stdout)["error"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("argv", [["--version"], ["--help"], ["lab", "list"]])
def test_a_full_disk_is_one_sentence(argv: list[str]) -> None:
    told = ran(*argv, to=">/dev/full")
    assert told.returncode == 1
    assert told.stderr.startswith(b"hissway: ") and told.stderr.count(b"\n") == 1


@pytest.mark.parametrize(("to", "code"), [(">&-", 0), ("2>&-", 0), (">&- 2>&- <&-", 0)])
def test_streams_that_were_closed_are_no_fault(to: str, code: int) -> None:
    told = ran("lab", to=to)
    assert told.returncode == code
    assert b"Traceback" not in told.stderr


def test_the_screens_without_any_stream_are_refused() -> None:
    assert ran(to="<&- >&- 2>&-").returncode == 1


def test_a_reader_that_leaves_early_hears_nothing_of_the_workers(tmp_path: Path) -> None:
    folder = plain(tmp_path / "r")
    told = ran("rank", "--workers", "2", *[folder] * 6, to="| head -n 1")
    assert told.stdout == f"{folder}\n".encode()
    assert told.stderr == b""
