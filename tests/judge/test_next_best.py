"""The one recording that would help most: what is foretold of it, what that is worth, and how it is asked for."""

import numpy as np
import pytest
from evidence_made import loud_at, made

from listen.judge.loudness import LEVELS_DB
from listen.judge.next_best import CLEAR_LIMIT_DB, NextBest, _bits, _seen, next_best
from listen.judge.posterior import posterior
from listen.trade.points import PathId


def best(levels, known=None, single=False, **readings) -> NextBest:
    evidence = made(levels, **readings)
    found = next_best(evidence, posterior(evidence), known, single=single)
    assert found is not None
    return found


def test_what_parts_two_equal_causes_for_certain_is_worth_one_bit_and_what_parts_none_is_worth_none():
    half = np.array([0.5, 0.5])
    assert _bits(half, np.eye(2)) == pytest.approx(1.0, abs=1e-6)
    assert _bits(half, np.full((2, 3), 1.0 / 3.0)) == pytest.approx(0.0, abs=1e-9)
    assert _bits(half, 7.0 * np.eye(2)) == pytest.approx(1.0, abs=1e-6)  # scale is none of it
    assert _bits(np.array([0.9, 0.1]), np.eye(2)) == pytest.approx(0.469, abs=1e-3)


@pytest.mark.parametrize(("spread_db", "sd_db"), [(0.0, 1.5), (4.0, 4.27)])
def test_a_level_far_above_the_limit_is_measured_to_1_5_db_and_what_is_carried_less_surely(spread_db, sd_db):
    (row,) = _seen(np.array([12.0]), np.array([spread_db]), CLEAR_LIMIT_DB)
    grid = LEVELS_DB[LEVELS_DB >= CLEAR_LIMIT_DB]
    assert row.sum() == pytest.approx(1.0) and row[-1] == 0.0
    mean = row[:-1] @ grid
    assert mean == pytest.approx(12.0, abs=0.1)
    assert np.sqrt(row[:-1] @ (grid - mean) ** 2) == pytest.approx(sd_db, abs=0.1)


def test_at_the_limit_a_hiss_is_seen_half_of_the_time_and_from_1_5_db_below_it_never():
    limit = CLEAR_LIMIT_DB
    rows = _seen(np.array([limit + 1.5, limit, limit - 0.75, limit - 1.5, limit - 20.0]), np.zeros(5), limit)
    assert rows[:, -1] == pytest.approx([0.0, 0.5, 0.75, 1.0, 1.0])
    assert rows.sum(axis=1) == pytest.approx(np.ones(5))


def test_a_point_that_was_not_recorded_is_asked_for_and_one_that_was_is_not_asked_for_again():
    """Longer clips of the same point named one round in 50."""
    new = best({"intake": None, "oil-filler": -7.0, "radiator": None}, loss_percent=45.0, bubbles_seen=False)
    assert (new.point, new.kind, new.seconds) == ("tailpipe", "air", 4.0)
    assert new.text == "Record the tailpipe, quiet and air: it would best tell sound from rings."
    evidence = made(loud_at("intake", 14.0), loss_percent=30.0, bubbles_seen=False)
    assert next_best(evidence, posterior(evidence)) is None


def test_a_hiss_alike_everywhere_asks_for_a_clip_with_the_cylinder_side_shut_off_where_it_is_loudest():
    levels = {"intake": 12.0, "tailpipe": 11.0, "oil-filler": 13.0, "radiator": 12.0}
    sound = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}
    found = best(levels, sound=sound, loss_percent=30.0, bubbles_seen=False)
    assert (found.point, found.kind, found.seconds) == ("oil-filler", "shut", 4.0)
    assert found.text == (
        "Record the oil filler with the supply on and the cylinder side shut off: "
        "it would best tell fitting from rings."
    )


def test_a_loss_that_was_not_read_is_asked_for_and_one_that_was_is_not():
    quiet = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}
    found = best(quiet, bubbles_seen=False)
    assert (found.point, found.kind) == ("", "loss")
    assert found.text == "Read the loss with the air on: it would best tell sound from rings."
    assert best(quiet, bubbles_seen=False, loss_percent=45.0).kind != "loss"


def test_a_sound_cylinders_clip_is_asked_for_at_its_usual_length():
    found = best({"intake": None, "tailpipe": None, "oil-filler": -7.0}, loss_percent=60.0, bubbles_seen=False)
    assert (found.point, found.kind, found.seconds) == ("oil-filler", "sound", 4.0)
    assert found.text.startswith("Record the oil filler with air in a cylinder known to be sound: it would best tell ")


def entropy(p: float) -> float:
    return float(-p * np.log2(p) - (1.0 - p) * np.log2(1.0 - p))


def test_a_look_for_bubbles_is_worth_what_their_table_makes_it():
    """Seen at 85 of 100 coolant leaks and at 4 of 100 others."""
    evidence = made({"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}, loss_percent=60.0)
    odds = posterior(evidence)
    p = odds.involved(PathId.COOLANT_PASSAGE)
    found = next_best(evidence, odds)
    assert found is not None and found.kind == "bubbles"
    expected = entropy(0.85 * p + 0.04 * (1.0 - p)) - p * entropy(0.85) - (1.0 - p) * entropy(0.04)
    assert found.bits == pytest.approx(expected, rel=0.02)


def test_bubbles_are_to_be_looked_for_where_nobody_did_and_they_would_tell():
    levels = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}
    looked = best(levels, loss_percent=60.0)
    assert (looked.kind, looked.seconds) == ("bubbles", 0.0)
    assert looked.text.startswith("Look at the coolant with the air on")
    assert best(levels, loss_percent=60.0, bubbles_seen=False).kind != "bubbles"


def test_a_single_cylinder_is_asked_for_no_sound_one_and_an_air_cooled_engine_for_no_coolant():
    """A mechanic sent to the radiator of an engine that has none trusts no other ask either."""
    levels = {"intake": None, "tailpipe": None, "oil-filler": -7.0}
    told = {"loss_percent": 60.0, "bubbles_seen": False}
    assert best(levels, **told).kind == "sound"
    evidence = made(levels, **told)
    alone = next_best(evidence, posterior(evidence), single=True)
    assert alone is None or alone.kind != "sound"

    wet, dry = ("intake", "tailpipe", "oil-filler", "radiator"), ("intake", "tailpipe", "oil-filler")
    assert best(levels, wet, loss_percent=60.0, single=True).point == "radiator"
    assert best(levels, dry, loss_percent=60.0).point != "radiator"


def test_an_engine_is_listened_to_where_it_has_a_mouth():
    """Of two pipes, and a crankcase that ends in a hose, no tailpipe and no oil filler is asked for."""
    known = ("intake", "tailpipe-left", "tailpipe-right", "breather")
    unheard = {"loss_percent": 45.0, "bubbles_seen": False}
    assert best({"intake": None, "radiator": None, "oil-filler": -7.0}, known, **unheard).point == "tailpipe-left"
    assert best({"intake": None, "tailpipe-left": None}, known, **unheard).point == "breather"
