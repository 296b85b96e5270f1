"""The odds: they sum, they follow the evidence one way only, and their terms add up to what is shown."""

from typing import Any

import numpy as np
import pytest
from evidence_made import FOUR, loud_at, made

from listen.judge.assumptions import BASE
from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import hypotheses, priors
from listen.judge.posterior import Posterior
from listen.judge.posterior import posterior as under_every_set
from listen.judge.result import TOP_FOUND_AGAIN
from listen.judge.verdict import FIND_TOP_AGAIN, LOOK_AT_VALVES, verdict
from listen.trade.points import PathId

OWN = {
    "intake": PathId.INTAKE_VALVE,
    "tailpipe": PathId.EXHAUST_VALVE,
    "oil-filler": PathId.RINGS,
    "radiator": PathId.COOLANT_PASSAGE,
}
QUIET = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}


def posterior(evidence: RoundEvidence) -> Posterior:
    """Under the usual assumptions: the others, three quarters of the time, give a range that nothing here looks at."""
    return under_every_set(evidence, (BASE,))


@pytest.mark.parametrize("where", list(OWN))
def test_a_loud_point_and_a_leaking_cylinder_name_the_points_own_path(where):
    odds = posterior(made(loud_at(where, 10.0), loss_percent=35.0, restrictor_mm=1.0))
    assert odds.involved(OWN[where]) > (0.8 if where == "oil-filler" else 0.9)
    assert odds.share(OWN[where]) == max(odds.share(p) for p in odds.paths)


def test_nothing_heard_and_little_loss_is_sound():
    assert posterior(made(QUIET, loss_percent=7.0, restrictor_mm=1.0)).involved(PathId.NONE) > 0.85


def test_silence_everywhere_with_nothing_read_is_no_sound_cylinder():
    """Two leaks in a hundred are heard by nobody at their own point, and one of three complaints has none."""
    assert posterior(made(dict.fromkeys(FOUR))).involved(PathId.NONE) < 0.9
    lost = posterior(made(dict.fromkeys(FOUR), loss_percent=82.0, restrictor_mm=1.0))
    assert lost.involved(PathId.NONE) < 0.5


def test_both_valves_loud_with_nearly_all_lost_is_a_set_up_fault():
    levels = {**QUIET, "intake": 12.0, "tailpipe": 11.0}
    assert posterior(made(levels, loss_percent=95.0)).involved(PathId.SET_UP) > 0.9
    assert posterior(made(levels, loss_percent=25.0, restrictor_mm=1.0)).involved(PathId.SET_UP) < 0.3


@pytest.mark.parametrize(("where", "valve"), [("intake", PathId.INTAKE_VALVE), ("tailpipe", PathId.EXHAUST_VALVE)])
def test_one_valve_loud_with_all_lost_may_be_a_set_up_fault_and_with_less_lost_is_the_valve(where, valve):
    """Pistons that were pushed down until one valve opened were called that valve's leak, up to 99 % sure."""
    lost = posterior(made(loud_at(where, 20.0), loss_percent=100.0, restrictor_mm=1.0))
    assert 0.1 < lost.involved(PathId.SET_UP) < lost.involved(valve) < 0.9
    asked = verdict(lost, frozenset(PathId), "", "")
    assert (asked.kind, asked.next, asked.next_kind) == ("unclear", FIND_TOP_AGAIN, TOP_FOUND_AGAIN)
    stayed = posterior(made(loud_at(where, 20.0), loss_percent=100.0, restrictor_mm=1.0, top_found_again=True))
    named = verdict(stayed, frozenset(PathId), "", "")
    assert (named.kind, named.paths) == ("path", (valve,)) and "top dead centre was found again" in named.text
    assert named.next and named.next_kind == "" and "top dead centre" not in named.next
    held = posterior(made(loud_at(where, 20.0), loss_percent=35.0, restrictor_mm=1.0))
    assert held.involved(PathId.SET_UP) < 0.01 and held.involved(valve) > 0.9
    unread = posterior(made(loud_at(where, 20.0)))
    assert unread.involved(valve) > 0.9
    assert verdict(unread, frozenset(), "", "ask").next == "ask"


@pytest.mark.parametrize("tailpipe", [12.0, 24.0], ids=["both loud", "doubtful"])
def test_who_found_top_dead_centre_again_is_never_sent_there_once_more(tailpipe):
    """Named or not: what is still open then is seen at the valves themselves."""
    levels = {**QUIET, "intake": 12.0, "tailpipe": tailpipe}
    for loss in (80.0, 97.0, 100.0):
        first = verdict(posterior(made(levels, loss_percent=loss)), frozenset(PathId), "", "ask")
        again = posterior(made(levels, loss_percent=loss, top_found_again=True))
        then = verdict(again, frozenset(PathId), "", "ask")
        assert "find top dead centre" in first.next
        assert "find" not in then.next and then.next_kind == ""
        assert then.next == LOOK_AT_VALVES or again.involved(PathId.SET_UP) < 0.1


def test_hiss_at_every_mouth_near_the_plug_and_less_at_the_tailpipe_is_the_fitting():
    levels = dict.fromkeys(FOUR, 12.0) | {"tailpipe": 2.0}
    odds = posterior(made(levels, loss_percent=20.0))
    assert odds.involved(PathId.FITTING) > 0.4
    assert max(odds.paths, key=odds.involved) is PathId.FITTING


def test_a_hiss_about_alike_everywhere_may_be_a_leak_that_a_small_bay_carries_round():
    """Such a one was called a fitting, 98 % sure; it was the intake valve."""
    odds = posterior(made({"intake": 43.0, "tailpipe": 35.0, "oil-filler": 41.0, "radiator": 41.0}, loss_percent=53.0))
    assert odds.involved(PathId.FITTING) < 0.7
    assert odds.involved(PathId.INTAKE_VALVE) > 0.1


def test_the_same_at_the_tailpipe_too_may_be_something_in_the_shop():
    levels = dict.fromkeys(FOUR, 6.0)
    odds = posterior(made(levels, loss_percent=7.0))
    assert odds.involved(PathId.FITTING) < 0.9
    assert odds.involved(PathId.NONE) > 0.2


@pytest.mark.parametrize("where", list(OWN))
@pytest.mark.parametrize("loss", [None, 8.0, 30.0])
def test_louder_hiss_at_one_point_never_lowers_its_paths_odds(where, loss):
    chances = [
        posterior(made(loud_at(where, db), loss_percent=loss)).involved(OWN[where])
        for db in np.arange(-12.0, 15.0, 3.0)
    ]
    assert np.diff(chances).min() > -0.02


def test_probabilities_sum_to_one_and_a_pairs_mass_is_shared():
    odds = posterior(made({**QUIET, "tailpipe": 18.0, "oil-filler": 12.0}, loss_percent=45.0, restrictor_mm=1.0))
    assert odds.probability.sum() == pytest.approx(1.0)
    assert sum(odds.share(p) for p in odds.paths) == pytest.approx(1.0)
    assert odds.involved(PathId.EXHAUST_VALVE) > 0.9
    assert 0.1 < odds.involved(PathId.RINGS) < 0.4  # that much may be normal blow-by
    assert odds.share(PathId.RINGS) < 0.6 * odds.involved(PathId.RINGS)


@pytest.mark.parametrize("level_db", [6.0, 9.0, 12.0])
@pytest.mark.parametrize("readings", [{}, {"loss_percent": 6.0, "restrictor_mm": 1.0, "supply_kpa": 550.0}])
def test_a_loud_filler_alone_is_not_the_rings(level_db, readings):
    """Normal blow-by has no known level, and silence elsewhere is no more proof against it than against the rings."""
    odds = posterior(made({**QUIET, "oil-filler": level_db}, **readings))
    assert odds.involved(PathId.RINGS) < 0.9
    assert odds.involved(PathId.NONE) > (0.5 if readings else 0.1)
    lost = posterior(made({**QUIET, "oil-filler": level_db}, loss_percent=45.0, restrictor_mm=1.0, supply_kpa=550.0))
    assert lost.involved(PathId.RINGS) > 0.7 > 0.1 > lost.involved(PathId.NONE)


def test_prior_and_terms_add_up_to_the_odds_shown():
    odds = posterior(
        made(
            loud_at("tailpipe"),
            bubbles=(1, 8.0, 3, 4.0),
            loss_percent=33.0,
            bubbles_seen=False,
            compression_dry_kpa=900.0,
            compression_wet_kpa=960.0,
        )
    )
    for path, terms in odds.evidence_db.items():
        p = odds.involved(path)
        assert sum(terms.values()) == pytest.approx(10 * np.log10(p / (1 - p)), abs=1e-6)
        assert list(terms) == ["prior", *FOUR, "bubbles-heard", "bubbles-seen", "loss", "compression", "unforeseen"]


def test_no_walk_however_clear_is_surer_than_what_nobody_foresees():
    """Twice in a hundred walks the clips mislead: then priors and readings speak, here for anything."""
    clear = posterior(made(loud_at("tailpipe", 16.0), loss_percent=40.0, restrictor_mm=1.0))
    assert 0.975 < clear.involved(PathId.EXHAUST_VALVE) < 0.99
    others = sum(clear.share(p) for p in clear.paths if p != PathId.EXHAUST_VALVE)
    assert 0.01 < others < 0.05
    assert clear.evidence_db[PathId.EXHAUST_VALVE]["unforeseen"] < -3.0
    assert clear.evidence_db[PathId.COOLANT_PASSAGE]["unforeseen"] > 1.0


def test_the_same_evidence_gives_the_same_odds_to_the_last_digit():
    one, two = (under_every_set(made(loud_at("intake"), loss_percent=25.0)) for _ in range(2))
    assert (one.probability == two.probability).all()


def test_swapping_two_points_swaps_their_paths_but_for_priors_and_table_rows():
    one = posterior(made(loud_at("intake"), loss_percent=30.0))
    other = posterior(made(loud_at("tailpipe"), loss_percent=30.0))
    moved = one.evidence_db[PathId.INTAKE_VALVE], other.evidence_db[PathId.EXHAUST_VALVE]
    strength = [sum(v for k, v in terms.items() if k != "prior") for terms in moved]
    # Ring air reaches the intake by the ventilation hose (a row of the table), so the intake counts a little less.
    assert strength[0] == pytest.approx(strength[1], abs=4.0)
    assert one.involved(PathId.EXHAUST_VALVE) == pytest.approx(other.involved(PathId.INTAKE_VALVE), abs=0.05)


def test_a_sound_cylinder_as_loud_at_the_filler_takes_the_blame_from_the_rings():
    loud = {**QUIET, "oil-filler": 2.0}
    alone = posterior(made(loud, loss_percent=14.0)).involved(PathId.RINGS)
    beside = posterior(made(loud, sound={"oil-filler": 2.0}, loss_percent=14.0)).involved(PathId.RINGS)
    quieter = posterior(made(loud, sound={"oil-filler": -8.0}, loss_percent=14.0)).involved(PathId.RINGS)
    assert beside < alone < quieter


def test_a_silent_pipe_at_the_sound_cylinder_leaves_no_blow_by_to_explain_a_loud_one():
    """Cylinders differ, but not so that one's normal blow-by is louder at the tailpipe than at its own filler."""
    levels = {"intake": None, "tailpipe": 18.0, "oil-filler": 6.0, "radiator": None}
    sound = {**dict.fromkeys(FOUR), "oil-filler": 2.0}
    odds = posterior(made(levels, sound=sound, loss_percent=38.0, restrictor_mm=1.0))
    assert odds.involved(PathId.EXHAUST_VALVE) > 0.9


def test_a_neighbours_open_valve_explains_its_plug_hole():
    levels = {"intake": 6.0, "tailpipe": None, "oil-filler": -7.0, "plug-hole-3": -1.0}
    shut = posterior(made(levels, loss_percent=30.0, valves={3: None})).involved(PathId.NEXT_CYLINDER)
    ajar = posterior(made(levels, loss_percent=30.0, valves={3: "intake"})).involved(PathId.NEXT_CYLINDER)
    assert ajar < 0.65 * shut


def test_bubbles_heard_and_seen_speak_for_the_coolant():
    base = posterior(made(QUIET, loss_percent=20.0)).involved(PathId.COOLANT_PASSAGE)
    heard = posterior(made(QUIET, bubbles=(0, 8.0, 9, 4.0), loss_percent=20.0)).involved(PathId.COOLANT_PASSAGE)
    both = posterior(made(QUIET, bubbles=(0, 8.0, 9, 4.0), bubbles_seen=True, loss_percent=20.0))
    none = posterior(made(QUIET, bubbles=(0, 8.0, 0, 4.0), loss_percent=20.0)).involved(PathId.COOLANT_PASSAGE)
    assert none < base < heard < both.involved(PathId.COOLANT_PASSAGE)


def test_equal_counts_of_drips_in_both_clips_are_no_bubbles():
    base = posterior(made(QUIET, loss_percent=20.0)).involved(PathId.COOLANT_PASSAGE)
    drips = posterior(made(QUIET, bubbles=(12, 8.0, 6, 4.0), loss_percent=20.0)).involved(PathId.COOLANT_PASSAGE)
    assert drips < 1.5 * base


@pytest.mark.parametrize(("dry", "wet", "up"), [(900, 1130, True), (900, 920, False)])
def test_wet_rise_speaks_for_or_against_the_rings(dry, wet, up):
    levels = {**QUIET, "oil-filler": 2.0}
    base = posterior(made(levels, loss_percent=25.0)).involved(PathId.RINGS)
    told = posterior(made(levels, loss_percent=25.0, compression_dry_kpa=dry, compression_wet_kpa=wet))
    assert (told.involved(PathId.RINGS) > base) == up


def test_one_mistyped_reading_cannot_outvote_the_points():
    odds = posterior(made(loud_at("intake", 12.0), loss_percent=0.5))
    assert odds.involved(PathId.INTAKE_VALVE) > 0.8


def test_priors_sum_to_one_and_unheard_paths_count_for_less():
    heard = frozenset({PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE, PathId.RINGS})
    sets, everything = (
        dict(zip(hypotheses(known), priors(hypotheses(known), known, BASE), strict=True))
        for known in (heard, frozenset(PathId))
    )
    assert sum(sets.values()) == pytest.approx(1.0)
    sets, everything = ({h.paths: p for h, p in s.items() if not h.outside} for s in (sets, everything))
    assert sets[(PathId.COOLANT_PASSAGE,)] < 0.3 * everything[(PathId.COOLANT_PASSAGE,)]
    assert not any(PathId.COOLANT_PASSAGE in p and len(p) > 1 for p in sets)


@pytest.mark.parametrize(
    ("loud", "far", "path"),
    [
        ("plug-hole-3", "plug-hole-1", PathId.NEXT_CYLINDER),
        ("plug-hole-1", "plug-hole-3", PathId.NEXT_CYLINDER),
        ("tailpipe-left", "tailpipe-right", PathId.EXHAUST_VALVE),
        ("tailpipe-right", "tailpipe-left", PathId.EXHAUST_VALVE),
    ],
)
def test_a_leak_at_one_of_two_points_of_its_path_is_not_cancelled_by_the_silent_other(loud, far, path):
    levels = {"intake": None, "tailpipe": None, "oil-filler": -7.0, loud: 16.0, far: None}
    if path is PathId.EXHAUST_VALVE:
        del levels["tailpipe"]
    assert posterior(made(levels, loss_percent=25.0)).involved(path) > 0.9


def test_only_loud_at_the_hole_and_quiet_at_both_pipes_is_the_next_cylinder() -> None:
    """A valve's leak blows out of the hole of a neighbour whose own valve stands open, louder than past silencers."""

    def odds(intake: float | None, tailpipe: float | None, hole: float, **readings: Any) -> dict[PathId, float]:
        levels = {"intake": intake, "tailpipe": tailpipe, "oil-filler": -7.0, "plug-hole-3": hole}
        found = posterior(made(levels, loss_percent=25.0, **readings))
        return {path: found.involved(path) for path in found.paths}

    assert odds(None, None, 16.0)[PathId.NEXT_CYLINDER] > 0.9
    for pipes, valve in (((10.0, None), PathId.INTAKE_VALVE), ((None, 10.0), PathId.EXHAUST_VALVE)):
        unknown, shut = odds(*pipes, 16.0), odds(*pipes, 16.0, valves={3: None})
        assert unknown[valve] > 0.5 > unknown[PathId.NEXT_CYLINDER]
        assert shut[PathId.NEXT_CYLINDER] > 0.5  # a shut valve lets nothing through


@pytest.mark.parametrize("level_db", [25.0, 35.0, 45.0])
def test_a_very_loud_leak_is_still_its_own_path(level_db):
    levels = {
        "intake": level_db,
        "tailpipe": level_db - 17.0,
        "oil-filler": level_db - 17.0,
        "radiator": level_db - 17.0,
    }
    assert posterior(made(levels, loss_percent=30.0)).involved(PathId.INTAKE_VALVE) > 0.85


@pytest.mark.parametrize("hole", ["plug-hole-1", "plug-hole-3"])
@pytest.mark.parametrize("pipe", ["tailpipe-left", "tailpipe-right"])
def test_two_leaks_come_out_at_whichever_of_their_points(hole, pipe):
    """Each of the two chooses for itself: no pairing of holes and pipes is left out."""
    points = ("intake", "tailpipe-left", "tailpipe-right", "oil-filler", "plug-hole-1", "plug-hole-3")
    levels = dict.fromkeys(points) | {"oil-filler": -7.0, hole: 24.0, pipe: 24.0}
    odds = posterior(made(levels, loss_percent=45.0, valves={1: None, 3: None}))
    assert odds.involved(PathId.NEXT_CYLINDER) > 0.2
    assert odds.involved(PathId.EXHAUST_VALVE) > 0.2
