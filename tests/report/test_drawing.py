"""Protects the drawings: every cylinder and point in its place, words beside marks, scales that hold their figures."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.report.drawing import LABEL_WIDTH, engine_drawing, ladder, ticks
from listen.trade.engine import engine_of_rows, layout, layout_rows


@pytest.mark.parametrize("layout_id", [row.id for row in layout_rows()])
def test_every_cylinder_stands_inside_its_head_and_apart_from_the_others(layout_id):
    engine = layout(layout_id)
    drawing = engine_drawing(engine, (1,), "cylinder 1")
    assert [s["number"] for s in drawing["spots"]] == list(engine.cylinders)
    assert [s["number"] for s in drawing["spots"] if s["marked"]] == [1]
    for s in drawing["spots"]:
        x, y = s["x"], s["y"]
        assert 30 < x < drawing["width"] - 30 and 30 < y < drawing["height"] - 30
        assert any(b["x"] < x < b["x"] + b["width"] and b["y"] < y < b["y"] + b["height"] for b in drawing["heads"])
    spots = {(s["x"], s["y"]) for s in drawing["spots"]}
    assert len(spots) == len(drawing["spots"])


def test_an_open_gasket_is_drawn_between_its_two_cylinders():
    drawing = engine_drawing(engine_of_rows([[1, 2, 3, 4]]), (2, 3), "between 2 and 3", between=True)
    (bridge,) = drawing["bridges"]
    two, three = (s for s in drawing["spots"] if s["number"] in (2, 3))
    assert two["x"] < bridge["x"] + bridge["width"] / 2 < three["x"]
    assert not any(s["marked"] for s in drawing["spots"])


db = st.none() | st.floats(min_value=-60, max_value=90)


def part(excess, low, high, limit):
    return {"words": "intake", "says": "", "excess_db": excess, "low_db": low, "high_db": high, "limit_db": limit}


@given(st.lists(st.tuples(db, db, db, db), max_size=8))
def test_the_ladder_holds_every_figure_and_its_zero(figures):
    drawn = ladder([part(*f) for f in figures])
    xs = [drawn.x(v) for f in figures for v in f if v is not None]
    assert all(LABEL_WIDTH <= x <= drawn.width for x in [*xs, drawn.x(0)])
    assert all(0 < drawn.y(i) < drawn.height for i in range(len(figures)))
    for excess, *_ in figures:
        if excess is not None:
            assert (drawn.x(excess) >= drawn.x(0)) == (excess >= 0) or abs(excess) < 1e-6


@given(st.floats(min_value=-60, max_value=0), st.floats(min_value=0.5, max_value=90))
def test_ticks_are_few_even_and_hold_zero(low, high):
    found = ticks(low, high)
    assert 0.0 in found
    assert len(found) <= 12
    steps = {round(b - a, 6) for a, b in pairwise(found)}
    assert len(steps) <= 1
