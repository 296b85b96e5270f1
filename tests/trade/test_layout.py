"""Protects who stands next to whom, where to walk, and which valves stand open: wrong here, every verdict is wrong."""

from __future__ import annotations

import msgspec
import pytest

from listen.errors import EngineError
from listen.trade.engine import (
    Engine,
    Exhaust,
    engine_of_rows,
    layout,
    layout_rows,
    neighbours,
    points_for,
    row_neighbours,
)
from listen.trade.transfer import valves_open


def test_every_layout_with_every_numbering_and_order_is_an_engine():
    made = [
        layout(row.id, numbering=way.id, firing_order=order)
        for row in layout_rows()
        for way in row.numbering
        for order in row.firing_orders
    ]
    assert len(made) > 40
    assert {len(e.cylinders) for e in made} >= {1, 2, 3, 4, 5, 6, 8}


@pytest.mark.parametrize(
    ("engine", "n", "expected"),
    [
        (layout("inline-4"), 1, (2,)),
        (layout("inline-4"), 2, (1, 3)),
        (layout("flat-4"), 1, (3,)),
        (layout("flat-4", numbering="along"), 1, (2,)),
        (layout("v8"), 3, (1, 5)),
        (layout("v8", numbering="along"), 4, (3,)),
        (layout("v6", numbering="along"), 3, (2,)),
        (layout("single"), 1, ()),
    ],
)
def test_neighbours_stand_in_the_same_row_and_never_across_the_vee(engine, n, expected):
    assert neighbours(engine, n) == expected


def test_a_gasket_joins_only_cylinders_under_one_head():
    engine = msgspec.structs.replace(layout("inline-4"), heads=((1, 2), (3, 4)))
    assert row_neighbours(engine, 2) == (1, 3)
    assert neighbours(engine, 2) == (1,)


@pytest.mark.parametrize(
    ("n", "expected"),
    [
        (1, {3: "intake", 2: "exhaust", 4: "overlap"}),
        (2, {1: "intake", 4: "exhaust", 3: "overlap"}),
        (3, {4: "intake", 1: "exhaust", 2: "overlap"}),
        (4, {2: "intake", 3: "exhaust", 1: "overlap"}),
    ],
)
def test_inline_four_valves_are_as_the_trade_table_says(n, expected):
    assert valves_open(layout("inline-4"), (), n) == expected


def test_six_has_intake_closing_before_and_exhaust_opening_after_and_eight_has_them_shut():
    six = valves_open(layout("inline-6"), (), 1)
    assert (six[5], six[4], six[6]) == ("intake", "exhaust", "overlap")
    eight = valves_open(layout("v8"), (), 1)
    assert (eight[8], eight[2], eight[6]) == (None, None, "overlap")
    assert (eight[4], eight[7]) == ("intake", "exhaust")


def test_uneven_firing_steps_are_respected_and_an_unknown_order_says_nothing():
    twin = msgspec.structs.replace(layout("inline-2"), firing_steps_deg=(180.0, 540.0))
    assert valves_open(twin, (), 1) == {2: "intake"}
    assert valves_open(layout("inline-2"), (), 1) == {2: "overlap"}
    assert valves_open(engine_of_rows([[1, 2, 3]]), (), 1) == {}


def test_points_in_walking_order_with_dual_exhausts_and_neighbours():
    assert [p.id for p in points_for(layout("inline-4"), 2)] == [
        "intake",
        "tailpipe",
        "oil-filler",
        "radiator",
        "plug-hole-1",
        "plug-hole-3",
    ]
    dual = layout(
        "v8",
        exhausts=[Exhaust("tailpipe-left", (1, 3, 5, 7)), Exhaust("tailpipe-right", (2, 4, 6, 8))],
    )
    ids = [p.id for p in points_for(dual, 8)]
    assert ids == ["intake", "tailpipe-left", "tailpipe-right", "oil-filler", "radiator", "plug-hole-6"]
    air = msgspec.structs.replace(
        layout("flat-4"), cooling="air", crankcase_point="breather", heads=((1,), (2,), (3,), (4,))
    )
    assert [p.id for p in points_for(air, 3)] == ["intake", "tailpipe", "breather"]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"rows": ((1, 2), (2, 3))}, "twice"),
        ({"rows": ()}, "without cylinders"),
        ({"rows": ((1, 0),)}, "1 to 99"),
        ({"rows": ((1, 2),), "firing_order": (1, 3)}, "firing order"),
        ({"rows": ((1, 2),), "heads": ((1, 5),)}, "cylinder 5"),
        ({"rows": ((1, 2),), "firing_order": (1, 2), "firing_steps_deg": (100.0, 100.0)}, "720"),
    ],
)
def test_an_engine_that_cannot_be_is_refused_in_one_sentence(fields, says):
    with pytest.raises(EngineError, match=says):
        Engine(name="x", layout="rows", **fields)


def test_an_engine_survives_json():
    engine = layout("v8", name="workshop eight")
    assert msgspec.json.decode(msgspec.json.encode(engine), type=Engine) == engine


def test_a_new_listening_point_is_one_row(monkeypatch):
    from listen.trade import points, tables

    tables.read_table.cache_clear()
    more = {"id": "valve-cover", "walked": "always", "words": "valve cover", "own": ["rings"], "hold": "Cap off."}
    data = {**tables.read_table("points"), "point": [*tables.read_table("points")["point"], more]}
    monkeypatch.setattr(tables, "read_table", lambda name: data)
    points.point_rows.cache_clear()
    points.point.cache_clear()
    try:
        walked = [p.id for p in points_for(layout("inline-2"), 1)]
        assert walked == ["intake", "tailpipe", "oil-filler", "radiator", "plug-hole-2", "valve-cover"]
    finally:
        points.point_rows.cache_clear()
        points.point.cache_clear()
