"""Protects against verdicts on what was not listened for: each is withheld with a reason and a next step."""

from __future__ import annotations

from dataclasses import replace

import pytest

from listen.judge.grounds import Ground, bubbles_speak, withheld
from listen.trade.points import PathId, point

WALK = ("intake", "tailpipe", "oil-filler")


def grounds(points=WALK, **more):
    """Usable silent points; ``more`` changes the first."""
    rows = [{"point": point(p), "usable": True, "least_excess_db": None} for p in points]
    rows[0] |= more
    return [Ground(**row) for row in rows]


def test_a_whole_silent_walk_may_be_called_sound_or_alike_but_no_path_and_not_out_of_place():
    """Out of place is said where one of its two sides is heard: the other may be muffled."""
    paths = {PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE, PathId.RINGS}
    assert set(withheld(grounds())) == paths | {PathId.SET_UP}
    assert set(withheld(grounds(least_excess_db=5.0))) == paths - {PathId.INTAKE_VALVE} | {PathId.NONE}


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


def test_silence_is_not_said_against_the_needle():
    """A loss that speaks for a leak, by however little, outweighs having heard nothing."""
    assert "more than sound cylinders usually show" in withheld(grounds(), loss_db=-0.1)[PathId.NONE].why
    assert "other cylinders" in withheld(grounds(), loss_db=-0.1)[PathId.NONE].then
    assert withheld(grounds(), loss_db=-0.1, single=True)[PathId.NONE].then == (
        "Walk the points again in a quieter moment."
    )
    assert PathId.NONE not in withheld(grounds(), loss_db=0.0)


def test_blow_by_at_the_crankcase_is_no_reason():
    assert PathId.NONE not in withheld(grounds(("oil-filler", "intake", "tailpipe"), least_excess_db=9.0))


def test_a_path_is_named_only_where_its_own_point_speaks():
    assert PathId.INTAKE_VALVE not in withheld(grounds(least_excess_db=3.0))
    assert PathId.INTAKE_VALVE not in withheld(grounds(whistles=True, whistles_alone=True))
    assert "tailpipe itself" in withheld(grounds(least_excess_db=3.0))[PathId.EXHAUST_VALVE].why


def test_bubbles_stand_for_a_hiss_at_the_radiator():
    walk = grounds((*WALK, "radiator"))
    assert PathId.COOLANT_PASSAGE in withheld(walk)
    assert PathId.COOLANT_PASSAGE not in withheld(walk, bubbles=True)


def test_no_path_is_named_while_a_rivals_clips_cannot_be_used():
    rows = grounds(least_excess_db=6.0)
    clipped = [rows[0], Ground(point("tailpipe"), False, None), rows[2]]
    found = withheld(clipped)[PathId.INTAKE_VALVE]
    assert "tailpipe" in found.why
    assert "less input gain" in found.then
    assert PathId.INTAKE_VALVE not in withheld([*rows, Ground(point("radiator"), True, None)])


@pytest.mark.parametrize(("limit_db", "kept_back"), [(14.9, False), (15.1, True)])
def test_no_path_is_named_while_a_rivals_point_was_deaf(limit_db, kept_back):
    """A hand that missed a turn left only 38 dB to be seen at the filler, where the rings' hiss of 29 dB came out."""
    intake, tailpipe, filler = grounds(least_excess_db=19.0)
    deaf = replace(filler, limit_db=limit_db)
    assert (PathId.INTAKE_VALVE in withheld([intake, tailpipe, deaf])) is kept_back
    assert PathId.INTAKE_VALVE not in withheld([intake, tailpipe, replace(deaf, least_excess_db=3.0)])


def test_sound_takes_proof_that_the_air_was_on():
    assert "air was on" in withheld(grounds(), air_on=False)[PathId.NONE].why
    blow_by = grounds(("oil-filler", "intake", "tailpipe"), least_excess_db=2.0)
    assert PathId.NONE not in withheld(blow_by, air_on=False)


def test_a_whistle_beside_silence_is_no_sound_cylinder():
    assert "at the intake" in withheld(grounds(whistles=True, whistles_alone=True))[PathId.NONE].why


def test_a_whistle_that_several_points_have_is_no_ground_for_one_of_them():
    """It may come from the adapter: no silence, and not the path of the point where it is loudest."""
    found = withheld(grounds(whistles=True))
    assert "intake itself" in found[PathId.INTAKE_VALVE].why
    assert "several points" in found[PathId.NONE].why


def test_one_point_is_not_everywhere_and_one_side_is_not_both():
    found = withheld(grounds(("intake",)))
    assert {PathId.FITTING, PathId.SET_UP, PathId.NONE} <= set(found)


def test_a_changed_gain_is_no_fitting():
    loud = [Ground(point(p), True, 3.0, gain_changed=True) for p in WALK]
    assert "gain" in withheld(loud)[PathId.FITTING].why


def test_silence_is_not_said_where_nothing_followed_the_switching_at_any_point():
    """One point at which something followed, or that was walked, shows that the air came."""
    none = [Ground(point(p), True, None, nothing_followed=True) for p in WALK]
    assert "followed the switching" in withheld(none)[PathId.NONE].why
    assert PathId.NONE not in withheld([*none[:2], Ground(point(WALK[2]), True, None)])


def test_of_several_points_that_speak_against_silence_the_worst_is_asked_for():
    loud = [
        Ground(point(p), True, db) for p, db in zip(("intake", "tailpipe", "oil-filler"), (4.0, 6.0, 9.0), strict=True)
    ]
    assert withheld(loud)[PathId.NONE].then.startswith("Record the tailpipe again")
    deaf = [Ground(point(p), True, None, limit_db=db) for p, db in zip(WALK, (16.0, 18.0, 17.0), strict=True)]
    assert "at the tailpipe only 18 dB would have been seen" in withheld(deaf)[PathId.NONE].why


def test_a_point_whose_clips_cannot_be_used_is_told_apart_from_one_not_listened_at():
    rows = grounds()
    lost = withheld([rows[0], Ground(point("tailpipe"), False, None), rows[2]])[PathId.NONE]
    assert (lost.why, lost.then) == ("no clips of the tailpipe can be used", "Record the tailpipe, quiet and air.")
    assert withheld([rows[0], rows[2]])[PathId.NONE].why == "the tailpipe was not listened at"


@pytest.mark.parametrize(("db", "kept_back"), [(2.9, False), (3.1, True)])
def test_a_hiss_beside_the_crankcase_speaks_against_silence_once_it_is_surely_there(db: float, kept_back: bool):
    assert (PathId.NONE in withheld(grounds(least_excess_db=db))) is kept_back


def test_a_hiss_beside_a_needle_that_speaks_for_a_sound_cylinder_is_a_seat_that_weeps():
    """Of 48 rounds by strangers 45 were sound; without a reading, or clipped, nobody knows how much comes out there."""
    assert PathId.NONE not in withheld(grounds(least_excess_db=8.0), loss_db=0.1)
    assert PathId.NONE in withheld(grounds(least_excess_db=8.0), loss_db=0.0)
    assert "louder" in withheld(grounds(least_excess_db=8.0, usable=False), loss_db=0.1)[PathId.NONE].why


@pytest.mark.parametrize(
    ("terms", "speak"),
    [
        ({"bubbles-heard": 11.0}, True),
        ({"bubbles-seen": 11.0}, True),
        ({"bubbles-heard": 11.0, "bubbles-seen": -8.0}, True),
        ({"bubbles-heard": 8.0, "bubbles-seen": 8.0}, False),
        ({}, False),
    ],
)
def test_bubbles_heard_or_seen_speak_each_for_themselves(terms: dict[str, float], speak: bool):
    assert bubbles_speak({PathId.COOLANT_PASSAGE: terms}) is speak


def test_of_two_holes_the_air_of_the_next_cylinder_comes_out_at_one():
    holes = [Ground(point("plug-hole-1"), True, None), Ground(point("plug-hole-3"), True, 4.0)]
    assert PathId.NEXT_CYLINDER not in withheld([*grounds(), *holes])


def test_a_filler_that_cannot_be_used_may_be_where_the_air_comes_from():
    rows = grounds(least_excess_db=6.0)
    found = withheld([*rows[:2], Ground(point("oil-filler"), False, None)])
    assert "clips of the oil filler cannot be used" in found[PathId.INTAKE_VALVE].why
