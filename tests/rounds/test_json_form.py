"""Protects the form of ``rank --json`` that other programs rely on, and the table that people read."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from listen.cli.main import main
from listen.judge.account import account
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.trade.points import PathId
from tests.rounds.made import POINTS, facts, plain, simulated

TOP = ["engine", "learnt", "paths", "points", "round", "schema", "shop", "told_by", "verdict"]
POINT = [
    "bubbles_per_s",
    "cycles",
    "decay_s",
    "detected",
    "detection_limit_db",
    "drift_db",
    "excess_ci95_db",
    "excess_db",
    "flags",
    "level_db",
    "level_is_upper_bound",
    "level_unit",
    "point",
    "taken",
]
PATH = ["evidence_db", "involved", "involved_range", "path", "probability", "probability_range"]
VERDICT = [
    "again",
    "kind",
    "next",
    "next_kind",
    "next_point",
    "next_seconds",
    "paths",
    "probability",
    "rests_on",
    "text",
]
KINDS = {"path", "several", "sound", "fitting", "set-up", "unclear"}


def _refuse(text: str) -> float:
    raise AssertionError(f"{text} in the JSON")


def _rank(capsys: pytest.CaptureFixture[str], *argv: str) -> list[dict[str, Any]]:
    assert main(["rank", "--json", *argv]) == 0
    lines = capsys.readouterr().out.splitlines()
    return [json.loads(line, parse_constant=_refuse) for line in lines]


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory, leak: Path) -> list[Path]:
    """A leak, a round with bubbles and readings at four points, one of plain noise at one point."""
    place = tmp_path_factory.mktemp("three")
    coolant = simulated(place / "b", path=PathId.COOLANT_PASSAGE, points=(*POINTS, "radiator"), seed=4, seconds=1.5)
    return [leak, coolant, facts(plain(place / "a"), loss_percent=40, cylinder=1, firing_order=[1, 3, 4, 2])]


def test_form_of_every_line(three: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """Keys, kinds, units and sums, in the order in which the folders were given."""
    lines = _rank(capsys, *map(str, three))
    assert [line["round"] for line in lines] == [str(f) for f in three]
    for line in lines:
        assert sorted(line) == TOP
        assert line["schema"] == "hissway.round/1"
        for point in line["points"]:
            assert sorted(point) == POINT
            assert point["level_unit"] == "dBFS"
            assert point["excess_ci95_db"][0] <= point["excess_db"] <= point["excess_ci95_db"][1]
            assert sorted(point["bubbles_per_s"]) == ["air", "quiet"]
            assert all(sorted(f) >= ["flag", "limit"] and f["text"] for f in point["flags"])
        assert {p["path"] for p in line["paths"]} <= set(PathId)
        assert all(sorted(p) == PATH for p in line["paths"])
        assert math.fsum(p["probability"] for p in line["paths"]) == pytest.approx(1, abs=1e-12)
        assert all(0 <= p["probability"] <= p["involved"] + 1e-12 <= 1 + 2e-12 for p in line["paths"])
        assert sorted(line["verdict"]) == VERDICT
        assert line["verdict"]["kind"] in KINDS
    assert [p["point"] for p in lines[1]["points"]] == [*POINTS, "radiator"]
    assert lines[0]["verdict"]["paths"] == ["intake-valve"]


def test_one_point_speaks_of_its_own_paths_only(three: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    """An intake cannot name the coolant passage; where it is unclear, the next recording is named."""
    (line,) = _rank(capsys, str(three[2]))
    assert line["verdict"]["kind"] in {"path", "unclear"}
    assert line["verdict"]["kind"] == "path" or line["verdict"]["next"]


def test_evidence_adds_up_to_the_odds(three: list[Path]) -> None:
    """Prior, points and readings in decibans sum to 10 lg of the odds of each path being at work."""
    for folder in three:
        result = evaluate(read_folder(folder))
        for path in result.paths:
            total = account(path)[-1].so_far_db
            assert total == pytest.approx(math.fsum(path.evidence_db.values()), abs=1e-9)
            assert set(path.evidence_db) >= {"prior", *(p.point for p in result.points)}
            if 1e-9 < path.involved < 1 - 1e-9:
                assert total == pytest.approx(10 * math.log10(path.involved / (1 - path.involved)), abs=1e-5)


def test_readings_stand_in_the_account(leak_copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every reading moves the odds under its own name; bubbles seen lift the coolant passage."""
    before = {p["path"]: p for p in _rank(capsys, str(leak_copy))[0]["paths"]}
    facts(leak_copy, loss_percent=35, bubbles_seen=True, compression_dry_kpa=800, compression_wet_kpa=820)
    after = {p["path"]: p for p in _rank(capsys, str(leak_copy))[0]["paths"]}
    assert set(after["rings"]["evidence_db"]) > set(POINTS) | {"prior", "loss"}
    assert after["coolant-passage"]["involved"] > 2 * before["coolant-passage"]["involved"]
    assert after["coolant-passage"]["evidence_db"]["bubbles-seen"] > 8.0
    assert after["rings"]["evidence_db"] != before["rings"]["evidence_db"]


def test_same_input_same_output(leak: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """To the last digit."""
    assert _rank(capsys, str(leak)) == _rank(capsys, str(leak))


def test_the_table_says_the_same(leak: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Folder, every point in the trade's words, odds and verdict."""
    (line,) = _rank(capsys, str(leak))
    assert main(["rank", str(leak)]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[0] == str(leak)
    for words in (
        "intake ",
        "tailpipe ",
        "oil filler ",
        "odds, alone or with others: intake valve ",
        line["verdict"]["text"],
    ):
        assert words in out
    assert f"{line['points'][0]['excess_db']:.1f}" in out
    assert err == ""


@pytest.mark.parametrize(
    "argv",
    [
        ["rank"],
        ["rank", "x", "--jsn"],
        ["rank", "x", "--workers", "0"],
        ["rank", "x", "--workers", "many"],
        ["rank", "x", "--workers", "99999"],
        ["rank", "x", "--channel", "-1"],
        ["rank", "x", "--channel", "left"],
        ["rank", "--frobnicate", "x"],
        ["rnak", "x"],
    ],
)
def test_unknown_options_are_told_in_one_line(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, nothing on stdout."""
    with pytest.raises(SystemExit) as stopped:
        main(argv)
    assert stopped.value.code == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "--help" in err


def test_help_shows_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    """``rank --help`` is enough to begin."""
    with pytest.raises(SystemExit) as stopped:
        main(["rank", "--help"])
    assert stopped.value.code == 0
    said = capsys.readouterr().out
    for words in ("Example: hissway rank", "--json", "--workers", "--channel", "--cluster"):
        assert words in said


def test_a_reader_that_leaves_early_is_no_fault(leak: Path) -> None:
    """``hissway rank ... | head -1``: no traceback."""
    program = "from tui.entry import main; raise SystemExit(main())"
    ran = subprocess.run(
        ["bash", "-c", '"$0" -c "$1" rank "$2" "$2" "$2" | head -n 1', sys.executable, program, str(leak)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert ran.stdout == f"{leak}\n"
    assert ran.stderr == ""
