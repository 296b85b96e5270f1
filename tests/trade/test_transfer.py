"""How much of a leak is heard elsewhere, with the numbers written out: dB about its own point, and the spread."""

from __future__ import annotations

import pytest

from listen.trade.points import PathId, point
from listen.trade.transfer import OpenValve, another_mouth, transfer, valves_in_turn, valves_open


@pytest.mark.parametrize(
    ("path", "at", "valve", "expected"),
    [
        (PathId.INTAKE_VALVE, "intake", None, (0.0, 1.0)),
        (PathId.INTAKE_VALVE, "tailpipe", None, (-17.0, 6.0)),
        (PathId.RINGS, "radiator", None, (-13.0, 7.0)),
        (PathId.RINGS, "plug-hole-2", "exhaust", (-10.0, 7.0)),
        (PathId.EXHAUST_VALVE, "radiator", None, (-17.0, 6.0)),
        (PathId.RINGS, "breather", None, (-2.0, 4.0)),
        (PathId.RINGS, "intake", None, (-10.0, 7.0)),
        (PathId.INTAKE_VALVE, "plug-hole-2", "intake", (-2.0, 8.0)),
        (PathId.EXHAUST_VALVE, "plug-hole-2", "overlap", (4.0, 10.0)),
        (PathId.EXHAUST_VALVE, "plug-hole-2", "intake", (-17.0, 6.0)),
        (PathId.NEXT_CYLINDER, "tailpipe-left", "exhaust", (-14.0, 8.0)),
        (PathId.NEXT_CYLINDER, "intake", "intake", (-10.0, 7.0)),
    ],
)
def test_what_of_a_leak_is_heard_where(
    path: PathId, at: str, valve: OpenValve | None, expected: tuple[float, float]
) -> None:
    way = transfer(path, point(at), valve)
    assert (way.mean_db, way.spread_db) == expected


def test_a_leak_at_one_of_its_two_points_is_heard_at_the_other_from_alike_to_nothing() -> None:
    pipe, hole = (another_mouth(point(at)) for at in ("tailpipe-left", "plug-hole-2"))
    assert (pipe.mean_db, pipe.spread_db) == (-9.0, 7.5)
    assert (hole.mean_db, hole.spread_db) == (-15.0, 7.0)  # a gasket leaks into one of the neighbours


def test_where_the_firing_order_is_not_known_a_neighbour_has_each_valve_open_as_often_as_not() -> None:
    """And of two neighbours no two stand alike; in a four with 1-3-4-2 one beside cylinder 2 is intake, one overlap."""
    states = valves_in_turn((1, 3))
    for cylinder in (1, 3):
        assert sorted(str(s[cylinder]) for s in states) == ["None", "exhaust", "intake", "overlap"]
    assert all(s[1] != s[3] for s in states)
    assert valves_open(None, (1, 3, 4, 2), 2) | {4: None} in [{**s, 4: None} for s in states]
