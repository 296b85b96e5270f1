"""Protects the drawings: every cylinder and point in its place, words beside marks, scales that hold their figures."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.diagnosis.case import CylinderCase, EngineCase
from listen.diagnosis.diagnose import diagnose
from listen.report.content import PointPart
from listen.report.drawing import engine_drawing, ladder, ticks
from listen.trade.layout import engine_of_rows, layout, layout_rows


@pytest.mark.parametrize("layout_id", [row.id for row in layout_rows()])
def test_every_cylinder_stands_inside_its_head_and_apart_from_the_others(layout_id):
    engine = layout(layout_id)
    drawing = engine_drawing(engine, diagnose(EngineCase(engine=engine)).cylinders, ())
    assert [s.number for s in drawing.spots] == list(engine.cylinders)
    for s in drawing.spots:
        assert 30 < s.x < drawing.width - 30 and 30 < s.y < drawing.height - 30
        assert any(b.x < s.x < b.x + b.width and b.y < s.y < b.y + b.height for b in drawing.heads)
        assert f"cylinder {s.number} not tested" in drawing.alt
    spots = {(s.x, s.y) for s in drawing.spots}
    assert len(spots) == len(drawing.spots)


def test_an_open_gasket_is_drawn_between_its_two_cylinders():
    engine = engine_of_rows([[1, 2, 3, 4]])
    cylinders = tuple(CylinderCase(cylinder=n, dry_kpa=k) for n, k in {1: 1150, 2: 560, 3: 570, 4: 1140}.items())
    d = diagnose(EngineCase(engine=engine, cylinders=cylinders))
    drawing = engine_drawing(engine, d.cylinders, d.faults)
    (bridge,) = drawing.bridges
    two, three = (s for s in drawing.spots if s.number in (2, 3))
    assert two.y < bridge.y + bridge.height / 2 < three.y
    assert two.word == "fault"


db = st.none() | st.floats(min_value=-60, max_value=90)


def part(excess, low, high, limit) -> PointPart:
    return PointPart(
        point="intake", words="intake", excess_db=excess, low_db=low, high_db=high, limit_db=limit, detected=True,
        level="", drift_db=None, bubbles="", says="", flags=(),
    )  # fmt: skip


@given(st.lists(st.tuples(db, db, db, db), max_size=8))
def test_the_ladder_holds_every_figure_and_its_zero(figures):
    drawn = ladder([part(*f) for f in figures])
    xs = [x for r in drawn.rungs for x in (r.x, r.low, r.high, r.limit) if x is not None]
    assert all(190 <= x <= drawn.width for x in [*xs, drawn.zero])
    for rung, (excess, *_) in zip(drawn.rungs, figures, strict=True):
        if excess is not None and rung.x is not None:
            assert (rung.x >= drawn.zero) == (excess >= 0) or abs(excess) < 1e-6


@given(st.floats(min_value=-60, max_value=0), st.floats(min_value=0.5, max_value=90))
def test_ticks_are_few_even_and_hold_zero(low, high):
    found = ticks(low, high)
    assert 0.0 in found
    assert len(found) <= 12
    steps = {round(b - a, 6) for a, b in pairwise(found)}
    assert len(steps) <= 1
