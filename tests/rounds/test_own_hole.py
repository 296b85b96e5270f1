"""Clips of the tested cylinder's own plug hole are set aside with a flag, and the rest of the round is judged."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from msgspec.structs import replace

from listen.cli.main import main
from listen.errors import RoundError
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from tests.rounds.made import facts, plain


def with_hole(folder: Path, number: int, cylinder: int) -> Path:
    """The round with its air at the intake under the name of a plug hole as well."""
    for kind in ("quiet-1", "air-1", "quiet-2"):
        (source,) = folder.glob(f"tailpipe-{kind}.*")
        shutil.copy(source, folder / f"plug-hole-{number}-{kind}{source.suffix}")
    return facts(folder, loss_percent=35, restrictor_mm=1.0, cylinder=cylinder)


def test_the_rest_is_judged_as_without_them(leak_copy: Path) -> None:
    """The very numbers and odds, and one flag that says why no number stands at that point."""
    without = evaluate(read_folder(facts(leak_copy, loss_percent=35, restrictor_mm=1.0, cylinder=3)))
    found = evaluate(read_folder(with_hole(leak_copy, 3, cylinder=3)))
    assert [p.point for p in found.points] == ["intake", "tailpipe", "oil-filler", "plug-hole-3"]
    aside = found.points[-1]
    assert replace(found, points=found.points[:-1]) == without and without.verdict.paths == ("intake-valve",)
    assert aside.excess_db is None and not aside.detected
    ((name, value, reject),) = [(f.flag, f.value, f.reject) for f in aside.flags]
    assert (name, value, reject) == ("own-plug-hole", 3, False)
    assert aside.flags[0].text.startswith("The adapter sits here, at cylinder 3 under test")


def test_a_neighbours_hole_is_weighed(leak_copy: Path) -> None:
    """Nor is anything set aside where nobody said which cylinder was tested."""
    for cylinder in (2, None):
        hole = evaluate(read_folder(with_hole(leak_copy, 3, cylinder=cylinder))).points[-1]
        assert hole.point == "plug-hole-3" and "own-plug-hole" not in {f.flag for f in hole.flags}


def test_a_round_of_nothing_else_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = facts(plain(tmp_path / "r", *(f"plug-hole-3-{k}.flac" for k in ("quiet", "air"))), cylinder=3)
    with pytest.raises(
        RoundError, match="plug-hole-3 is the cylinder under test, where the adapter sits, and no other"
    ):
        evaluate(read_folder(folder))
    assert main(["rank", "--json", str(folder)]) == 1
    assert "record the other points" in json.loads(capsys.readouterr().out)["error"]
