"""Protects: a round's traits say what they are named after; each was asked for by what rounds of known cause taught."""

from math import isnan

import pytest
from evidence_made import loud_at, made

from listen.judge.traits import traits

HOLES = loud_at("tailpipe", 10.0) | {"plug-hole-2": 4.0, "plug-hole-3": -2.0, "plug-hole-4": 1.0}


def test_every_two_mouths_are_set_beside_each_other_and_several_points_of_one_mouth():
    its = traits(made(HOLES))
    assert its["exhaust-valve over rings"] == pytest.approx(17.0, abs=0.5)
    assert its["exhaust-valve over next-cylinder"] == pytest.approx(6.0, abs=0.5)
    assert (its["next-cylinder points"], its["exhaust-valve points"]) == (3, 1)
    assert its["next-cylinder apart"] == pytest.approx(6.0, abs=0.5)
    assert isnan(its["exhaust-valve apart"])


def test_plug_holes_are_told_apart_by_the_valves_that_stand_open_there():
    """Air of the manifold comes out where a valve is off its seat, air through the gasket anywhere."""
    its = traits(made(HOLES, valves={2: "exhaust", 3: None, 4: "overlap"}))
    below = {state: its[f"holes {state} below the loudest"] for state in ("exhaust", "shut", "overlap")}
    assert below == pytest.approx({"exhaust": -6.0, "shut": -12.0, "overlap": -9.0}, abs=0.5)
    assert isnan(its["holes intake below the loudest"]) and isnan(its["holes unknown below the loudest"])
    assert (its["loudest hole exhaust open"], its["loudest hole intake open"], its["cylinders"]) == (1.0, 0.0, 4)
    both = traits(made(HOLES, valves={2: "overlap", 3: None, 4: None}))
    assert (both["loudest hole exhaust open"], both["loudest hole intake open"]) == (1.0, 1.0)


def test_without_a_firing_order_nobody_knows_what_stands_open():
    its = traits(made(HOLES))
    assert its["holes unknown below the loudest"] == pytest.approx(-6.0, abs=0.5)
    assert all(isnan(its[name]) for name in ("loudest hole exhaust open", "holes shut below the loudest", "cylinders"))
    assert isnan(traits(made(loud_at("intake")))["holes unknown below the loudest"])
