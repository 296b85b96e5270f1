"""Points exchanged in every clip of a round are known by the job's other rounds, and by nothing else."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import msgspec
import numpy as np
import pytest

from listen.judge.result import EngineSay, PlaceHeard
from listen.lab.simulator.render import render
from listen.rounds.evaluate import judge_points
from listen.rounds.model import Facts
from listen.rounds.slips.blunders import blunders
from listen.rounds.slips.job_places import exchanged_points, places_heard
from listen.signal.point import PointTakes
from listen.trade.points import Kind
from tests.rounds.test_blunders import leak, measured
from tests.rounds.test_promises import marked


@pytest.fixture(scope="module")
def walked() -> list[PointTakes]:
    return measured(render(leak()))


def told(points: list[PointTakes], louder_db: float = 0.0, strays_db: float = 0.0) -> EngineSay:
    """Another round of the job: the whole shop louder, each band of each place moved besides."""
    rng = np.random.default_rng(1)
    places = tuple(
        PlaceHeard(point=p.point, band_db=tuple(db + louder_db + strays_db * rng.normal() for db in p.band_db))
        for p in places_heard(points)
    )
    return EngineSay(cylinder=2, zero_dbfs=-50.0, points=(), places=places)


def exchanged(points: list[PointTakes], one: str = "intake", another: str = "oil-filler") -> list[PointTakes]:
    """Two points under each other's labels in every walk."""
    other = {one: another, another: one}
    return [replace(p, point=other.get(p.point, p.point)) for p in points]


def test_nothing_within_the_round_shows_it_but_another_round_does(walked: list[PointTakes]) -> None:
    wrong = exchanged(walked)
    assert blunders(wrong) == ()
    assert exchanged_points(wrong, ()) is None
    found = exchanged_points(wrong, [told(walked)])
    assert found is not None and set(found.points) == {"intake", "oil-filler"}
    assert found.flag.value >= found.flag.limit == 6.0


@pytest.mark.parametrize(("louder_db", "strays_db"), [(0.0, 0.0), (15.0, 0.5), (-15.0, 1.0)])
def test_a_louder_shop_and_a_microphone_that_lay_elsewhere_exchange_nothing(
    walked: list[PointTakes], louder_db: float, strays_db: float
) -> None:
    others = [told(walked, louder_db, strays_db)]
    assert exchanged_points(walked, others) is None
    assert exchanged_points(exchanged(walked), others) is not None


def test_evidence_for_exchanged_points_is_what_places_told_once_give() -> None:
    """Two places 3 dB apart in shape, and 5 dB in level besides: 38 and 57 dB of evidence, 6 are enough."""

    def evidence_db(level_db: float, share: float = 1.0) -> float:
        places = {"intake": np.zeros(9), "radiator": 3.0 * np.tile([1.0, -1.0, 0.0], 3) + level_db}
        said = tuple(PlaceHeard(point=at, band_db=tuple(db)) for at, db in places.items())
        apart = places["radiator"] - places["intake"]
        wrong = {"intake": share * apart, "radiator": (1.0 - share) * apart}
        here: list[Any] = [
            SimpleNamespace(point=at, prints=[marked(at, Kind.QUIET, 1, place_db=db).mark]) for at, db in wrong.items()
        ]
        found = exchanged_points(here, [EngineSay(cylinder=2, zero_dbfs=-50.0, points=(), places=said)])
        return found.flag.value if found else 0.0

    assert [evidence_db(0.0), evidence_db(5.0)] == pytest.approx([38.3, 57.2], abs=0.1)
    assert [evidence_db(0.0, share) > 0.0 for share in (0.55, 0.65)] == [False, True]


def test_of_three_other_rounds_one_that_was_exchanged_itself_does_not_count(walked: list[PointTakes]) -> None:
    assert exchanged_points(walked, [told(exchanged(walked)), told(walked), told(walked)]) is None


def test_nothing_is_named_it_is_said_and_the_others_hear_the_same(walked: list[PointTakes]) -> None:
    wrong, facts = exchanged(walked, "tailpipe", "radiator"), Facts(loss_percent=25.0, cylinder=1)
    alone = judge_points("round", wrong, facts, ())
    doubted = judge_points("round", wrong, facts, [told(walked)])
    assert alone.verdict.kind == "path" and doubted.verdict.kind == "unclear"
    assert "the points look exchanged" in doubted.verdict.text and doubted.verdict.next.startswith("Find out which")
    flagged = {p.point for p in doubted.points if any(f.flag == "exchanged-points" for f in p.flags)}
    assert flagged == {"tailpipe", "radiator"}
    assert alone.engine is not None and doubted.engine == alone.engine
    assert msgspec.json.decode(msgspec.json.encode(alone.engine), type=EngineSay) == alone.engine
