"""Protects the bench itself: same seed same figures, tuning apart from report, archives scored, bad input told."""

from __future__ import annotations

import json
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.bench.accuracy.contest import judge_folder, read_truth, seeds
from listen.cli.main import main
from listen.errors import RoundError
from listen.lab.simulator.draw import draw
from listen.lab.simulator.worlds.world import Wishes
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.signal.clip import Clip
from listen.trade.points import PathId
from tests.bench.plot import draw_plot, read
from tests.lab.truths import write_with_truth

DRAWN = ["bench", "accuracy", "--only", "rounds", "--rounds-drawn", "1", "--tune-rounds", "1", "--workers", "1"]


@pytest.fixture(scope="module")
def first() -> str:
    """The figures of ``DRAWN``."""
    with redirect_stdout(StringIO()) as said:
        assert main([*DRAWN, "--json"]) == 0
    return said.getvalue()


def test_the_same_seed_gives_the_same_figures_and_the_table_shows_every_bar(
    first: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main([*DRAWN, "--json"]) == 0
    assert capsys.readouterr().out == first
    contest = json.loads(first)["contests"][0]
    assert [line["key"] for line in contest["lines"]][:2] == ["ours-sound", "ours"]
    assert len(contest["lines"]) == 8
    assert sum(row["rounds"] for row in contest["by_truth"]) == 1
    draw_plot(read(first), tmp_path / "a.svg")
    assert (tmp_path / "a.svg").read_text().startswith("<?xml")


def test_tuning_rounds_and_reported_rounds_share_no_seed_and_no_shop() -> None:
    def drawn(population: str) -> tuple[set[int], set[str]]:
        specs = [draw(np.random.default_rng(s), population, sound_clips=True) for s in seeds(population, 20, 1)]
        return {s.seed for s in specs}, {s.background.name for s in specs}

    tune, report = drawn("tune"), drawn("report")
    assert len(tune[0]) == len(report[0]) == 20
    assert not tune[0] & report[0]
    assert not tune[1] & report[1]


def test_recorded_hisses_change_the_rounds_and_a_folder_without_any_is_told(
    first: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*DRAWN, "--leaks", str(tmp_path)]) == 2
    assert "holds no hiss-*.flac" in capsys.readouterr().err
    rng = np.random.default_rng(1)
    whine = 0.3 * np.sin(2 * np.pi * 3000 * np.arange(48_000) / 48_000) + 0.001 * rng.normal(size=48_000)
    for name in "abcdefgh":  # some for each population, whichever way the names fall
        write_clip(tmp_path / f"hiss-{name}.flac", Clip.of(whine, 48_000))
    assert main([*DRAWN, "--json", "--leaks", str(tmp_path)]) == 0
    recorded = json.loads(capsys.readouterr().out)["contests"][0]
    assert recorded["title"].endswith("half of the leaks of recorded hisses")
    assert recorded["lines"] != json.loads(first)["contests"][0]["lines"]


def archive(root: Path) -> Path:
    wishes = Wishes(paths=(PathId.INTAKE_VALVE,), hiss_db=8.0, points=("intake", "oil-filler"), seconds=2.5)
    for i in range(2):
        write_with_truth(draw(np.random.default_rng(i), "report", wishes=wishes), root / f"round-{i}")
    return root


def test_a_labelled_archive_is_scored(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = archive(tmp_path)
    args = ["bench", "accuracy", "--rounds", str(folder), "--tune-rounds", "0", "--workers", "1"]
    assert main([*args, "--json"]) == 0
    contest = json.loads(capsys.readouterr().out)["contests"][0]
    assert contest["lines"][0]["scores"]["rounds"] == 2
    assert [row["name"] for row in contest["by_truth"]] == ["intake-valve"]
    assert main(args) == 0
    out = capsys.readouterr().out
    for bar in ("right of named", "right at 95 %+", "false calls", "named", "Brier", "log loss", "ECE"):
        assert f"  {bar}" in out


def test_an_archive_is_scored_by_what_users_are_told(tmp_path: Path) -> None:
    """Not by the trees that saw no round of ours, as the bench's own rounds are."""
    folder = archive(tmp_path) / "round-0"
    told = {str(p.path): p.probability for p in evaluate(read_folder(folder)).paths}
    assert judge_folder(folder).without_sound.share == told


@pytest.mark.parametrize("text", ["{}", '{"paths": []}', '{"paths": ["none", "rings"]}', '{"paths": ["roof"]}', "x"])
def test_a_broken_truth_is_told(tmp_path: Path, text: str) -> None:
    (tmp_path / "truth.json").write_text(text)
    with pytest.raises(RoundError, match=r"truth\.json"):
        read_truth(tmp_path)


def test_a_folder_without_truth_and_recordings_without_a_folder_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["bench", "accuracy", "--rounds", str(tmp_path)]) == 1
    assert "no truth.json" in capsys.readouterr().err
    assert main(["bench", "accuracy", "--only", "recorded"]) == 2
    assert "--noise" in capsys.readouterr().err
