"""Protects that a listening point is one row of the trade's table: no other place has to be told of a new one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from listen.judge.grounds import Ground, withheld
from listen.judge.next_best import next_best
from listen.judge.posterior import posterior
from listen.rounds.check import check_take
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.trade import tables
from listen.trade.engine import layout, points_for
from listen.trade.points import PathId, PointRow, point, point_rows, usual_points
from listen.voice import names
from tests.judge.evidence_made import made
from tests.rounds.made import simulated

ROW = PointRow("cam-cover", "cam cover", (PathId.RINGS,), "At the open cam cover.", "always")


@pytest.fixture
def new_row(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A row before the oil filler: where the crankcase is listened to first on engines that have it."""
    ours = list(point_rows())
    at = next(i for i, row in enumerate(ours) if row.id == "oil-filler")
    read = tables.rows
    with_one_more = (*ours[:at], ROW, *ours[at:])
    monkeypatch.setattr(tables, "rows", lambda name, *of: with_one_more if name == "points" else read(name, *of))
    cached = (point_rows, point, usual_points)
    for found in cached:
        found.cache_clear()
    yield
    for found in cached:
        found.cache_clear()


@pytest.mark.usefixtures("new_row")
def test_a_new_row_is_walked_checked_judged_asked_for_and_told(tmp_path: Path) -> None:
    assert [p.id for p in points_for(layout("inline-4"), 1)][:4] == ["intake", "tailpipe", "cam-cover", "oil-filler"]

    folder = simulated(tmp_path / "round", path=PathId.RINGS, points=("intake", "tailpipe", "oil-filler"))
    for file in folder.glob("oil-filler-*"):
        file.rename(folder / file.name.replace("oil-filler", "cam-cover"))
    quiet, air = (next(folder.glob(f"cam-cover-{kind}*")) for kind in ("quiet", "air"))
    checked = check_take(air, "cam-cover", quiet)
    assert checked.kept and checked.excess_db is not None and checked.excess_db > 6

    result = evaluate(read_folder(folder))
    loud = [p.point for p in result.points if p.detected]
    assert "cam-cover" in loud
    # Most likely; not surely: normal blow-by, which is heard there too, has no known level.
    assert max(result.paths, key=lambda p: p.involved or 0.0).path == "rings"
    assert names.point_name("cam-cover") == "cam cover"

    evidence = made({"intake": None, "tailpipe": None, "radiator": None}, loss_percent=40.0, bubbles_seen=False)
    best = next_best(evidence, posterior(evidence))
    assert best is not None and best.point == "cam-cover" and "Record the cam cover" in best.text

    grounds = [Ground(point(p), True, None, -12.0) for p in ("intake", "tailpipe")]
    assert withheld(grounds)[PathId.NONE].then == "Record the cam cover, quiet and air."
