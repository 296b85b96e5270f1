"""How much of a leak is heard elsewhere, with the numbers written out: dB about its own point, and the spread."""

from __future__ import annotations

import pytest

from listen.trade.points import PathId, point
from listen.trade.transfer import OpenValve, another_mouth, transfer


@pytest.mark.parametrize(
    ("path", "at", "valve", "expected"),
    [
        (PathId.INTAKE_VALVE, "intake", None, (0.0, 1.0)),
        (PathId.INTAKE_VALVE, "tailpipe", None, (-17.0, 6.0)),
        (PathId.RINGS, "radiator", None, (-17.0, 6.0)),
        (PathId.RINGS, "breather", None, (-2.0, 4.0)),
        (PathId.RINGS, "intake", None, (-12.0, 6.0)),
        (PathId.INTAKE_VALVE, "plug-hole-2", "intake", (-8.0, 3.5)),
        (PathId.EXHAUST_VALVE, "plug-hole-2", "overlap", (-8.0, 3.5)),
        (PathId.EXHAUST_VALVE, "plug-hole-2", "intake", (-17.0, 6.0)),
        (PathId.NEXT_CYLINDER, "tailpipe-left", "exhaust", (-8.0, 3.5)),
    ],
)
def test_what_of_a_leak_is_heard_where(
    path: PathId, at: str, valve: OpenValve | None, expected: tuple[float, float]
) -> None:
    way = transfer(path, point(at), valve)
    assert (way.mean_db, way.spread_db) == expected


def test_a_leak_at_one_of_its_two_points_is_heard_at_the_other_from_alike_to_nothing() -> None:
    assert (another_mouth().mean_db, another_mouth().spread_db) == (-9.0, 7.5)
