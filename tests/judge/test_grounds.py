"""Protects against verdicts on what was not listened for: each is withheld with a reason and a next step."""

from __future__ import annotations

import pytest

from listen.judge.grounds import Ground, withheld
from listen.trade.points import PathId, point

WALK = ("intake", "tailpipe", "oil-filler")


def grounds(points=WALK, **more):
    """Usable silent points; ``more`` changes the first."""
    rows = [{"point": point(p), "usable": True, "least_excess_db": None} for p in points]
    rows[0] |= more
    return [Ground(**row) for row in rows]


def test_a_whole_silent_walk_may_be_called_sound_alike_or_out_of_place():
    assert withheld(grounds()) == {}


@pytest.mark.parametrize("missing", WALK)
def test_silence_is_not_said_of_a_point_that_was_not_listened_at(missing):
    found = withheld(grounds([p for p in WALK if p != missing]))
    assert point(missing).words in found[PathId.NONE].why
    assert point(missing).words in found[PathId.NONE].then


@pytest.mark.parametrize(
    "more", [{"least_excess_db": 5.0}, {"before_shut_off": True}, {"usable": False}, {"limit_db": 20.0}]
)
def test_silence_is_not_said_over_a_loud_a_bleeding_an_unusable_or_a_deaf_point(more):
    assert PathId.NONE in withheld(grounds(**more))


def test_blow_by_at_the_crankcase_is_no_reason():
    assert withheld(grounds(("oil-filler", "intake", "tailpipe"), least_excess_db=9.0)) == {}


def test_one_point_is_not_everywhere_and_one_side_is_not_both():
    found = withheld(grounds(("intake",)))
    assert {PathId.FITTING, PathId.SET_UP, PathId.NONE} <= set(found)


def test_a_changed_gain_is_no_fitting():
    loud = [Ground(point(p), True, 3.0, gain_changed=True) for p in WALK]
    assert "gain" in withheld(loud)[PathId.FITTING].why
