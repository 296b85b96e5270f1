"""What the judge promises, with the numbers written out: when a path is named, and what each reading counts for.

A number here is what a user was told or a table says, in per cent or decibans (10 lg of a likelihood ratio).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from evidence_made import loud_at, made

from listen.judge.air import Scene, smoothables
from listen.judge.assumptions import BASE, SETS
from listen.judge.evidence import Bubbles, Readings
from listen.judge.grounds import bubbles_speak
from listen.judge.hypotheses import Hypothesis, hypotheses, priors
from listen.judge.log_sum import log_sum
from listen.judge.loudness import LEVELS_DB, SharedDrift, log_likelihood
from listen.judge.next_best import next_best
from listen.judge.posterior import Posterior, posterior
from listen.judge.readings import bubbles_heard, bubbles_seen, compression, loss, shut, terms, whistle
from listen.judge.smoothing import Smoothable, stray_levels
from listen.judge.sources import AirSource, own_indexes, prior_over_levels, transfers, valve_states
from listen.judge.verdict import verdict
from listen.signal.contrast import Contrast, Group
from listen.signal.drift import Drift
from listen.trade.points import PathId

INTAKE, EXHAUST, RINGS = (PathId.INTAKE_VALVE,), (PathId.EXHAUST_VALVE,), (PathId.RINGS,)
COOLANT, SOUND, FITTING = (PathId.COOLANT_PASSAGE,), (PathId.NONE,), (PathId.FITTING,)
QUIET: dict[str, float | None] = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}


def given(usual: float, least: float | None = None, *, third: float = 0.0) -> Posterior:
    """Odds made by hand: the intake valve, a ``third`` path, and sound for the rest."""

    def row(p: float) -> np.ndarray:
        return np.array([p, third, 1.0 - p - third])

    under = {BASE: row(usual), SETS[1]: row(usual if least is None else least)}
    nowhere: Any = SimpleNamespace()
    return Posterior(
        (Hypothesis(INTAKE), Hypothesis(EXHAUST), Hypothesis(SOUND)), row(usual), under, {}, {}, nowhere, 0.0
    )


def said(odds: Posterior) -> Any:
    return verdict(odds, frozenset(PathId), "3 dB would have been seen", "record more")


def db(log_ratio: float) -> float:
    return 10.0 * log_ratio / math.log(10.0)


@pytest.mark.parametrize(
    ("usual", "least", "kind"),
    [
        (0.95, 0.9001, "path"),
        (0.95, 0.899, "unclear"),
        (0.9001, 0.9001, "path"),
        (0.899, 0.899, "unclear"),
    ],
)
def test_a_path_is_named_from_90_percent_at_the_least_favourable(usual: float, least: float, kind: str) -> None:
    assert said(given(usual, least)).kind == kind


def test_sound_is_said_from_90_percent_too() -> None:
    assert [said(given(p)).kind for p in (0.0999, 0.101)] == ["sound", "unclear"]


def test_what_has_less_than_10_percent_is_not_listed_where_it_cannot_be_told() -> None:
    assert "exhaust valve" in said(given(0.6, third=0.11)).text
    assert "exhaust valve" not in said(given(0.6, third=0.09)).text


def test_a_verdict_rests_on_an_assumption_that_takes_3_percent_off_it() -> None:
    assert said(given(0.96, 0.935)).rests_on == ()
    assert said(given(0.96, 0.925)).rests_on == (f"that {SETS[1].words}",)


def test_bubbles_stand_for_a_hiss_at_the_radiator_from_odds_of_ten_to_one() -> None:
    assert not bubbles_speak({PathId.COOLANT_PASSAGE: {"bubbles-seen": 9.9}})
    assert bubbles_speak({PathId.COOLANT_PASSAGE: {"bubbles-heard": 10.1}})


def test_an_answer_counts_what_its_table_says() -> None:
    """Bubbles are seen at 85 of 100 coolant leaks and 4 of 100 others; half of leaking fittings lie before the
    shut-off, 2 of 100 others are heard there; a whistle is at a leak's own point thrice as often as elsewhere."""
    assert db(bubbles_seen(COOLANT, True) - bubbles_seen(SOUND, True)) == pytest.approx(13.3, abs=0.1)
    assert db(bubbles_seen(COOLANT, False) - bubbles_seen(SOUND, False)) == pytest.approx(-8.1, abs=0.1)
    assert db(shut(FITTING, True) - shut(INTAKE, True)) == pytest.approx(14.0, abs=0.1)
    assert db(shut(FITTING, False) - shut(INTAKE, False)) == pytest.approx(-2.9, abs=0.1)
    assert db(whistle(INTAKE, INTAKE) - whistle(RINGS, INTAKE)) == pytest.approx(5.2, abs=0.1)
    assert whistle((*INTAKE, *RINGS), INTAKE) == whistle(INTAKE, INTAKE)


def test_a_loss_that_stays_at_top_dead_centre_found_again_speaks_nine_to_one_against_the_set_up() -> None:
    """One time in ten the same mistake is made twice; of any other cause nine in ten losses stay. No answer, and one
    that the loss changed, say nothing of their own: the new loss says it."""
    ((name, stays),) = terms(made(QUIET, top_found_again=True), BASE)
    assert name == "top-found-again"
    assert db(stays(EXHAUST) - stays((PathId.SET_UP,))) == pytest.approx(9.54, abs=0.01)
    assert stays(EXHAUST) == stays(SOUND) == stays((*INTAKE, *RINGS)) == pytest.approx(math.log(0.9))
    assert terms(made(QUIET, top_found_again=False), BASE) == terms(made(QUIET), BASE) == []


def test_a_whistle_comes_out_where_it_is_loudest() -> None:
    evidence = made(QUIET)
    levels_db = {"intake": -60.0, "tailpipe": -40.0}
    points = tuple(replace(p, whistle_db=levels_db.get(p.point.id)) for p in evidence.points)
    ((name, whistles),) = terms(replace(evidence, points=points), BASE)
    assert name == "whistle"
    assert db(whistles(EXHAUST) - whistles(INTAKE)) == pytest.approx(5.2, abs=0.1)


@pytest.mark.parametrize(
    ("counts", "decibans"),
    [
        ((0, 8.0, 9, 4.0), 14.4),
        ((0, 8.0, 1, 4.0), 0.6),
        ((0, 8.0, 0, 4.0), -5.8),
        ((12, 8.0, 6, 4.0), -1.7),
        ((12, 8.0, 14, 4.0), 2.5),
        ((2, 20.0, 40, 20.0), 14.5),
        ((40, 8.0, 20, 4.0), 0.4),
    ],
)
def test_bubbles_heard_count_by_how_many_more_come_with_the_air(
    counts: tuple[int, float, int, float], decibans: float
) -> None:
    """Nine in 4 s may be a ratchet, three times in a hundred; none speak against, but
    no more than none in time would; the shop's own drips say little."""
    heard = Bubbles(*counts)
    assert db(bubbles_heard(COOLANT, heard) - bubbles_heard(SOUND, heard)) == pytest.approx(decibans, abs=0.15)


@pytest.mark.parametrize(
    ("readings", "decibans"),
    [
        ({"loss_percent": 7.0}, -4.3),
        ({"loss_percent": 25.0}, 2.5),
        ({"loss_percent": 35.0, "restrictor_mm": 1.0}, 14.5),
        ({"loss_percent": 9.0, "restrictor_mm": 1.0}, -4.9),
        ({"loss_percent": 0.5}, -10.3),
        ({"loss_percent": 99.5, "restrictor_mm": 1.0}, 13.3),
        ({"loss_percent": 14.0, "loss_others_percent": 10.0}, -1.8),
        ({"loss_percent": 20.0, "loss_others_percent": 10.0}, 0.5),
    ],
)
def test_a_loss_speaks_for_a_leak_against_a_sound_cylinder(readings: dict[str, float], decibans: float) -> None:
    read = Readings(**readings)
    assert db(loss(INTAKE, read, BASE) - loss(SOUND, read, BASE)) == pytest.approx(decibans, abs=0.15)


@pytest.mark.parametrize(("of_others", "least"), [(None, 8.0), (6.0, 8.0), (20.0, 8.0), (80.0, 8.0), (95.0, 8.0)])
def test_a_cylinder_that_holds_next_to_nothing_is_not_sound_because_the_others_hold_no_more(
    of_others: float | None, least: float
) -> None:
    """The other cylinders read so far may leak themselves: the worst ones are read first."""
    read = Readings(loss_percent=91.0, restrictor_mm=1.0, loss_others_percent=of_others)
    assert db(loss(EXHAUST, read, BASE) - loss(SOUND, read, BASE)) > least


def test_behind_a_bore_of_half_a_millimetre_a_loss_of_the_others_of_80_percent_is_usual() -> None:
    read = Readings(loss_percent=80.0, restrictor_mm=0.5, loss_others_percent=80.0)
    assert loss(SOUND, read, BASE) > loss(EXHAUST, read, BASE)


@pytest.mark.parametrize(("percent", "decibans"), [(5.0, -0.3), (20.0, 1.1), (40.0, 1.65)])
def test_an_engine_that_loses_a_tenth_more_than_usual_changes_what_a_sound_cylinder_loses_and_no_leak(
    percent: float, decibans: float
) -> None:
    read = Readings(loss_percent=percent, restrictor_mm=1.0)
    (wide,) = [a for a in SETS if a.normal_loss == 1.1]
    assert db(loss(SOUND, read, wide) - loss(SOUND, read, BASE)) == pytest.approx(decibans, abs=0.15)
    assert loss(INTAKE, read, wide) == loss(INTAKE, read, BASE)


@pytest.mark.parametrize(("percent", "decibans"), [(12.0, -1.75), (40.0, 0.2), (80.0, 2.6)])
def test_two_leaks_lose_more_than_one(percent: float, decibans: float) -> None:
    read = Readings(loss_percent=percent, restrictor_mm=1.0)
    assert db(loss((*INTAKE, *EXHAUST), read, BASE) - loss(INTAKE, read, BASE)) == pytest.approx(decibans, abs=0.15)


def test_a_needle_at_its_end_speaks_for_an_open_valve_as_one_near_its_end_does() -> None:
    """One leaking valve in ten is that wide: bent or burnt. A total loss is no proof of the set-up."""
    speaks = [
        db(loss((PathId.SET_UP,), read, BASE) - loss(INTAKE, read, BASE))
        for read in (Readings(loss_percent=percent, restrictor_mm=1.0) for percent in (20.0, 90.0, 99.5))
    ]
    assert speaks == pytest.approx([-13.8, 8.7, 9.8], abs=0.15)


def test_a_loss_is_worth_its_density_and_a_freak_reading_lies_anywhere_between_holes_of_0_1_and_11_mm() -> None:
    assert db(loss(SOUND, Readings(loss_percent=60.0), BASE)) == pytest.approx(-28.7, abs=0.15)
    assert db(loss(INTAKE, Readings(loss_percent=99.5, restrictor_mm=1.0), BASE)) == pytest.approx(-11.7, abs=0.15)


def test_a_supply_beyond_50_to_2000_kpa_is_read_as_the_nearer() -> None:
    def at(supply_kpa: float) -> float:
        return loss(INTAKE, Readings(loss_percent=30.0, restrictor_mm=1.0, supply_kpa=supply_kpa), BASE)

    assert at(10.0) == at(49.0) == at(50.0) != at(55.0)
    assert at(30_000.0) == at(2001.0) == at(2000.0) != at(1900.0)


@pytest.mark.parametrize(("wet_kpa", "decibans"), [(1130, 14.4), (1000, -2.5), (920, -7.3), (2000, 0.0)])
def test_a_wet_rise_speaks_for_the_rings(wet_kpa: float, decibans: float) -> None:
    """From 900 kPa dry."""
    assert db(compression(RINGS, 900, wet_kpa) - compression(SOUND, 900, wet_kpa)) == pytest.approx(decibans, abs=0.15)


def test_before_anything_is_heard() -> None:
    """One cylinder in four or five is sound; in 4 of 100 of those something else in the shop sounds with the air."""
    sets = hypotheses(frozenset(PathId))
    chance = dict(zip(sets, priors(sets, frozenset(PathId), BASE), strict=True))
    alone, beside = chance[Hypothesis(SOUND)], chance[Hypothesis(SOUND, True)]
    assert alone + beside == pytest.approx(0.229, abs=0.003)
    assert beside / (alone + beside) == pytest.approx(0.04, abs=1e-6)
    assert sum(p for h, p in chance.items() if len(h.paths) == 2) == pytest.approx(0.138, abs=0.003)
    assert chance[Hypothesis(RINGS)] / chance[Hypothesis(INTAKE)] == pytest.approx(4 / 3, abs=0.01)


def test_under_the_other_assumptions() -> None:
    """2 dB more cross-talk, other sounds 1.75 and 1.5 times as often, any blow-by oftener, a tenth more lost."""
    talk, sounds, air, lost, mostly = SETS[1:]
    assert (talk.talk_db - BASE.talk_db, talk.talk_widen / BASE.talk_widen) == (2.0, pytest.approx(1.2))
    assert (sounds.stray / BASE.stray, sounds.outside / BASE.outside) == (pytest.approx(1.75), pytest.approx(1.5))
    assert (BASE.blow_by_open, air.blow_by_open) == (0.25, 0.6)
    assert lost.normal_loss / BASE.normal_loss == pytest.approx(1.1)
    assert mostly.sound_odds / BASE.sound_odds == 1.25


def test_sets_that_differ_in_what_is_heard_do_not_share_the_clips_odds() -> None:
    """A filler at +5 dB: where nothing is known of normal blow-by the rings are less likely than usual."""
    usual, _, _, air, lost, mostly = SETS
    assert air.heard != usual.heard == lost.heard == mostly.heard
    evidence = made({**QUIET, "oil-filler": 5.0})
    unknown = replace(usual, name="unknown", blow_by_open=1.0)
    under = posterior(evidence, (usual, unknown)).under
    assert not np.allclose(under[usual], under[unknown], atol=0.01)


def test_what_is_no_air_is_rare_and_rather_faint() -> None:
    """Two in a thousand, from -10 dB up, falling to 1/e over 8 dB; twenty times that in events, four in ten at most."""
    w = dict(zip(LEVELS_DB.tolist(), stray_levels().tolist(), strict=True))
    assert w[-12.0] == 0.0 < w[-10.0]
    assert w[-2.0] / w[-10.0] == pytest.approx(math.exp(-1.0))
    loud = np.full((1, len(LEVELS_DB)), -400.0)
    loud[0, list(LEVELS_DB).index(10.0)] = 0.0

    def least(chance: float, *, events: bool) -> float:
        """Log likelihood of a hiss of +10 dB where no air comes: by what is no air alone."""
        table = Smoothable.of(loud, events).with_stray(chance)
        return float(table(np.array([-30.0]), np.array([1.0]))[0, 0])

    assert least(BASE.stray, events=False) == pytest.approx(math.log(0.002 * w[10.0]), abs=1e-3)
    assert least(BASE.stray, events=True) == pytest.approx(math.log(0.04 * w[10.0]), abs=1e-3)
    assert least(0.1, events=True) == pytest.approx(math.log(0.4 * w[10.0]), abs=1e-3)


def test_what_else_sounds_is_ten_times_less_likely_to_follow_switched_air() -> None:
    """A hiss of +10 dB at the intake where the draws have no air: what is no air alone could explain it."""

    def least(switched: bool) -> float:
        evidence = made(loud_at("intake", 10.0))
        evidence = replace(evidence, points=tuple(replace(p, switched=switched) for p in evidence.points))
        table = Scene.of(evidence, smoothables(evidence), (Hypothesis(SOUND),), BASE).tables[0]
        assert table is not None
        return float(table(np.array([-30.0]), np.array([1.0]))[0, 0])

    assert db(least(True) - least(False)) == pytest.approx(-10.0, abs=0.01)


def test_a_leak_is_as_likely_from_minus_6_to_24_db_fainter_ones_5_and_louder_ones_3_times_rarer() -> None:
    """In the coolant 5 dB lower; normal blow-by about -7 dB, 10 dB either way, or anywhere from -12 to +16 dB."""
    leak = dict(zip(LEVELS_DB.tolist(), prior_over_levels(AirSource(PathId.INTAKE_VALVE), BASE).tolist(), strict=True))
    assert leak[-6.0] == leak[24.0] > leak[26.0]
    assert leak[-10.0] / leak[-6.0] == pytest.approx(math.exp(-0.5), rel=1e-3)
    assert leak[-14.0] / leak[-6.0] == pytest.approx(0.2, rel=1e-3)
    assert leak[-16.0] / leak[-6.0] < 0.05
    assert leak[60.0] / leak[0.0] == pytest.approx(0.3, rel=1e-3)
    cool = dict(
        zip(LEVELS_DB.tolist(), prior_over_levels(AirSource(PathId.COOLANT_PASSAGE), BASE).tolist(), strict=True)
    )
    assert cool[-10.0] == cool[18.0] > cool[20.0]
    unknown = replace(BASE, blow_by_open=1.0)
    anywhere = dict(zip(LEVELS_DB.tolist(), prior_over_levels(AirSource(PathId.NONE), unknown).tolist(), strict=True))
    assert anywhere[-12.0] == anywhere[16.0] > anywhere[18.0]
    blow = prior_over_levels(AirSource(PathId.NONE), replace(BASE, blow_by_open=0.0))
    mean = float(blow @ LEVELS_DB)
    assert mean == pytest.approx(-6.6, abs=0.3)
    assert math.sqrt(float(blow @ (LEVELS_DB - mean) ** 2)) == pytest.approx(9.5, abs=0.4)


@pytest.mark.parametrize(
    ("valve", "at", "there_db", "back_db"), [("intake", "intake", -2.0, -10.0), ("exhaust", "tailpipe", 4.0, -14.0)]
)
def test_through_a_neighbours_open_valve_air_comes_out_of_its_hole_as_loud_as_of_the_pipe(
    valve: str, at: str, there_db: float, back_db: float
) -> None:
    """From the pipe to the hole of the cylinder whose valve stands open, and from that hole to the pipe."""

    def heard_db(path: PathId, own: str, where: str, valves: Any) -> float:
        evidence = made(dict.fromkeys(("intake", "tailpipe", "plug-hole-3")))
        names = [p.point.id for p in evidence.points]
        return transfers(AirSource(path), evidence, names.index(own), BASE, valves)[names.index(where)].mean_db

    path = INTAKE[0] if at == "intake" else EXHAUST[0]
    ways = ((path, at, "plug-hole-3", there_db), (PathId.NEXT_CYLINDER, "plug-hole-3", at, back_db))
    for source, own, where, open_db in ways:
        assert heard_db(source, own, where, {3: None}) == -17.0
        assert heard_db(source, own, where, {3: valve}) == open_db
        assert heard_db(source, own, where, {1: valve}) == -17.0


def test_what_stands_open_beside_the_cylinder_is_open_where_the_firing_order_is_not_known() -> None:
    """Two holes: four states in turn; with the order, or without a hole or for the rings, one."""
    holes = ("intake", "plug-hole-1", "plug-hole-3")

    def states(path: PathId, points: Sequence[str] = holes, **readings: Any) -> int:
        return len(valve_states(AirSource(path), made(dict.fromkeys(points), **readings)))

    through = (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE, PathId.NEXT_CYLINDER)
    assert [states(path) for path in (*through, PathId.RINGS)] == [4, 4, 4, 1]
    assert states(PathId.INTAKE_VALVE, valves={1: "intake", 3: "overlap"}) == 1
    assert states(PathId.INTAKE_VALVE, ("intake", "tailpipe")) == 1


def test_a_path_with_two_mouths_is_heard_9_db_fainter_at_the_other_and_begins_at_one_that_can_be_used() -> None:
    evidence = made({"tailpipe": None, "tailpipe-left": None})
    source = AirSource(EXHAUST[0])
    assert [w.mean_db for w in transfers(source, evidence, 0, BASE, {})] == [0.0, -9.0]
    assert own_indexes(source, evidence) == [0, 1]
    deaf = [replace(p, air=None) for p in evidence.points]
    assert own_indexes(source, replace(evidence, points=(deaf[0], evidence.points[1]))) == [1]
    assert own_indexes(source, replace(evidence, points=tuple(deaf))) == [0, 1]


def test_a_sound_from_elsewhere_reaches_all_points_alike() -> None:
    ways = transfers(AirSource(None), made(QUIET), None, BASE, {})
    assert {(w.mean_db, w.spread_db) for w in ways} == {(0.0, 2.5)}


def test_compression_counts_once_it_was_read_dry_and_wet() -> None:
    read = {"compression_dry_kpa": 900.0, "compression_wet_kpa": 950.0}
    assert [[n for n, _ in terms(made(QUIET, **{k: read[k]}), BASE)] for k in read] == [[], []]
    assert [n for n, _ in terms(made(QUIET, **read), BASE)] == ["compression"]


def test_cross_talk_is_never_taken_for_more_than_minus_4_db() -> None:
    evidence = made(loud_at("intake"))
    source = AirSource(PathId.INTAKE_VALVE)
    (own,) = own_indexes(source, evidence)
    ways = transfers(source, evidence, own, replace(BASE, talk_db=40.0), {})
    assert {w.mean_db for i, w in enumerate(ways) if i != own} == {-4.0}
    usual = transfers(source, evidence, own, BASE, {})
    assert max(w.mean_db for i, w in enumerate(usual) if i != own) < -4.0


ALIKE = dict.fromkeys(QUIET, 12.0)


@pytest.mark.parametrize(
    ("levels", "readings", "point", "kind", "bits"),
    [
        ({**QUIET, "oil-filler": 0.0}, {"loss_percent": 15.0}, "oil-filler", "sound", 0.298),
        ({"intake": None, "oil-filler": -12.0}, {"loss_percent": 40.0}, "tailpipe", "air", 0.216),
        (loud_at("intake", 4.0), {"loss_percent": 30.0, "bubbles_seen": False}, "oil-filler", "sound", 0.027),
        (ALIKE, {"sound": QUIET, "loss_percent": 30.0, "bubbles_seen": False}, "oil-filler", "shut", 0.260),
        (QUIET, {"bubbles_seen": False}, "", "loss", 0.201),
    ],
)
def test_the_next_recording_is_worth_what_it_tells(
    levels: dict[str, float | None], readings: dict[str, Any], point: str, kind: str, bits: float
) -> None:
    """In bits; hundredths of one are still worth a walk."""
    evidence = made(levels, **readings)
    found = next_best(evidence, posterior(evidence, (BASE,)))
    assert found is not None
    assert (found.point, found.kind, found.bits) == (point, kind, pytest.approx(bits, abs=0.002))


OCTAVE_THIRDS = np.arange(13)


@pytest.mark.parametrize(
    ("ratio", "decibans"),
    [
        (np.full(13, 2.0), 56.2),
        (np.full(13, 1001.0), 221.9),
        (1.0 + 3.0 * 10.0 ** (-0.3 * OCTAVE_THIRDS), 101.1),
        (2.0 * np.exp(0.15 * (-1.0) ** OCTAVE_THIRDS), 28.5),
        (np.exp(np.linspace(0.0, 0.3, 13)), 42.9),
        (np.full(13, 1.1), 10.4),
        (np.exp(1.4 * (OCTAVE_THIRDS == 6)), 0.0),
    ],
    ids=["as loud as the shop", "30 dB louder", "a red hiss", "ragged", "rising", "faint", "one band alone"],
)
def test_a_rise_of_the_bands_speaks_for_a_hiss_against_silence(ratio: np.ndarray, decibans: float) -> None:
    """Air over quiet power in thirteen bands, each known to 2 %, in a shop that drifts by 0.1 or 0.4 dB.

    One band that moved alone is no hiss; a ragged rise is less of one than an even rise.
    """
    same, known = np.ones(13), 0.02**2 / 2.0 * np.eye(13)
    quiet, air = Group(same, known, same, known, 0.5, 30.0), Group(ratio, known, ratio, known, 1.0, 30.0)
    seen = Contrast(quiet, air)
    two = Drift(np.array([1.0, 2.0]), np.array([0.02, 0.1]), np.array([0.0, 0.05]), np.array([0.6, 0.4]), 1)
    drift = SharedDrift.of(two)
    table = log_likelihood(seen.rho, 2.0 * known, seen, np.ones(13, dtype=np.bool_), drift, same)
    levels = log_sum(table + drift.log_weight[:, None], axis=0)
    assert db(float(levels.max() - levels[0])) == pytest.approx(decibans, abs=0.1)


def test_of_many_scenarios_of_drift_the_24_most_probable_are_weighed() -> None:
    n = np.arange(1.0, 61.0)
    kept = SharedDrift.of(Drift(n, 0.01 * n, 0.0 * n, n / n.sum(), 1)).scenarios
    assert kept.kappa.tolist() == list(range(37, 61))


def test_how_much_is_carried_elsewhere_varies_also_where_it_is_much() -> None:
    """As much cross-talk as is ever assumed, and never more: a hose off or a throttle shut may still keep it away."""
    evidence = made({"intake": 8.0, "radiator": None, "tailpipe": None})
    much = replace(BASE, talk_db=40.0, blow_by_db=(-60.0, 1.0), blow_by_open=0.0)
    net = Scene.of(evidence, smoothables(evidence), (Hypothesis(INTAKE),), much).draws[Hypothesis(INTAKE)].net_db
    assert np.std(net[:, 1] - net[:, 0]) == pytest.approx(np.std([0, 0, -4, -8, -14]), abs=0.5)
