"""Who hears what: own points, cross-talk, open valves, fittings, a wrong set-up, sound cylinders, bubbles."""

from __future__ import annotations

import dataclasses
from collections import Counter

import msgspec
import numpy as np
import pytest

from listen.lab.simulator.curves import FLAT
from listen.lab.simulator.draw import POPULATIONS
from listen.lab.simulator.noises import BUBBLE_HZ, bubbles
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import Bubbles, Hiss, PointSpec
from listen.lab.simulator.worlds import WORLDS
from listen.lab.simulator.worlds.world import Wishes
from listen.trade.points import Kind, PathId
from tests.lab import measure, scenes

POINTS = ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole-2")
ORDER = (1, 3, 4, 2)
"""Cylinder 1 at top dead centre: the exhaust valve of 2 is open, the intake valve of 3."""


WAYS = POPULATIONS["tune"].ways
SEEDS = range(40)
BAY, OFF_TOP = WORLDS["bay"], Wishes((PathId.SET_UP,))


def points_of(seed: int, wishes: Wishes) -> dict[str, PointSpec]:
    drawn = POPULATIONS["tune"].draw(np.random.default_rng(seed), wishes=wishes)
    return {p.point: p for p in drawn.points}


def levels(path: PathId, seed: int, hiss_db: float = 10.0) -> dict[str, float]:
    """Loudest hiss of one cause at each point, about its own background as if all were equally loud."""
    wishes = Wishes((path,), hiss_db, blow_by_db=-90.0, cylinder=1, firing_order=ORDER, points=POINTS)
    return {p: max(h.level_db for h in at.air) + at.offset_db for p, at in points_of(seed, wishes).items()}


@pytest.mark.parametrize(
    ("path", "own"),
    [
        (PathId.INTAKE_VALVE, "intake"),
        (PathId.EXHAUST_VALVE, "tailpipe"),
        (PathId.RINGS, "oil-filler"),
        (PathId.NEXT_CYLINDER, "plug-hole-2"),
    ],
)
def test_a_leak_is_loudest_at_its_own_point(path: PathId, own: str) -> None:
    """And elsewhere it is less by the stated cross-talk."""
    others = np.array([[at[p] - at[own] for p in POINTS if p != own] for at in (levels(path, s) for s in SEEDS)])
    joined = [WAYS.valve if path == PathId.NEXT_CYLINDER and p == "tailpipe" else WAYS.casting for p in POINTS]
    if path == PathId.EXHAUST_VALVE:
        joined[-1] = WAYS.valve
    means = [mean for p, (mean, _) in zip(POINTS, joined, strict=True) if p != own]
    assert others.max() < 3.0 and np.mean(others < 0.0) > 0.98
    assert others.mean(axis=0) == pytest.approx(means, abs=3.0)


def test_an_open_valve_carries_an_exhaust_leak_to_the_neighbours_plug_hole() -> None:
    """Firing order 1-3-4-2 with cylinder 1 at top dead centre: hole 2 hears the exhaust, not the intake."""
    exhaust, intake = ([levels(path, s) for s in SEEDS] for path in (PathId.EXHAUST_VALVE, PathId.INTAKE_VALVE))
    through_valve = [at["plug-hole-2"] - at["tailpipe"] for at in exhaust]
    shut_off = [at["plug-hole-2"] - at["intake"] for at in intake]
    assert np.mean(through_valve) == pytest.approx(WAYS.valve[0], abs=1.5)
    assert np.mean(shut_off) == pytest.approx(WAYS.casting[0], abs=3.0)
    assert np.mean(np.array(through_valve) > np.array(shut_off)) > 0.9


def test_a_gasket_opens_to_one_neighbour_and_a_space_is_one_to_all_its_points() -> None:
    """The other hole hears far less than the one it leaks to; breather and filler hear the rings nearly alike."""
    holes, filler = [], []
    for seed in SEEDS:
        at = points_of(seed, Wishes((PathId.NEXT_CYLINDER,), 10.0, cylinder=2, points=("plug-hole-1", "plug-hole-3")))
        holes.append(np.ptp([at[p].air[-1].level_db + at[p].offset_db for p in at]))
        at = points_of(seed, Wishes((PathId.RINGS,), 10.0, cylinder=2, points=("oil-filler", "breather")))
        filler.append(np.ptp([at[p].air[-1].level_db + at[p].offset_db for p in at]))
    assert np.median(holes) > 9.0 > 6.0 > np.median(filler)


def test_a_fitting_is_heard_alike_everywhere() -> None:
    """It leaks outside the engine."""
    spread = [np.ptp([v for p, v in levels(PathId.FITTING, s).items() if p != "plug-hole-2"]) for s in range(20)]
    assert np.median(spread) < 12.0  # background offsets of about 2 dB included
    at = [levels(PathId.FITTING, s) for s in range(20)]
    assert np.mean([a["plug-hole-2"] - a["intake"] for a in at]) > 1.0


def test_a_wrong_set_up_blows_at_intake_and_tailpipe() -> None:
    """Both valves are open off top dead centre."""
    every = [levels(PathId.SET_UP, seed) for seed in SEEDS]
    assert np.mean([abs(at["intake"] - at["tailpipe"]) < 12.0 for at in every]) > 0.9
    louder = [min(at["intake"], at["tailpipe"]) > max(at["radiator"], at["oil-filler"]) for at in every]
    assert np.mean(louder) > 0.9


def test_off_top_dead_centre_one_valve_alone_may_stand_open_and_nothing_else_of_the_round_moves() -> None:
    """In four of ten, the exhaust valve twice as often; a world in which both always do draws all the rest alike."""
    both = dataclasses.replace(BAY, one_valve=0.0)
    open_valves: Counter[frozenset[str]] = Counter()
    for seed in range(300):
        one, two = (w.draw(np.random.default_rng(seed), wishes=OFF_TOP) for w in (BAY, both))
        heard = [{h.source for h in p.air} - {"blow-by"} for p in one.points]
        assert all(at == heard[0] for at in heard)
        open_valves[frozenset(heard[0])] += 1
        kept = tuple(
            msgspec.structs.replace(p, air=tuple(h for h in p.air if h.source in heard[0] | {"blow-by"}))
            for p in two.points
        )
        assert one == msgspec.structs.replace(two, points=kept)
    by_intake, by_exhaust = (open_valves[frozenset({valve})] for valve in ("intake-valve", "exhaust-valve"))
    assert (by_intake + by_exhaust) / 300 == pytest.approx(0.4, abs=0.08)
    assert by_exhaust / (by_intake + by_exhaust) == pytest.approx(2 / 3, abs=0.12)


def test_a_sound_cylinder_hears_blow_by_only_and_about_as_much() -> None:
    """The reference must not carry the leak it is compared with."""
    steps = []
    for seed in range(60):
        at = points_of(seed, Wishes((PathId.INTAKE_VALVE,), 10.0, -3.0, 1, ORDER, POINTS))
        assert {h.source for p in at.values() for h in p.sound} == {"blow-by"}
        own = next(h for h in at["oil-filler"].air if h.source == "blow-by")
        steps.append(at["oil-filler"].sound[0].level_db - own.level_db)
    assert np.std(steps) == pytest.approx(2.8, abs=0.8)


def test_shut_hears_a_leaking_fitting_and_nothing_of_the_engine() -> None:
    """Supply on, cylinder side shut off."""
    spec = scenes.one_point(6.0, seconds=2.0)
    point = msgspec.structs.replace(
        spec.points[0],
        takes=scenes.takes(Kind.QUIET, Kind.SHUT, Kind.AIR, seconds=3.0),
        air=(
            Hiss(source="intake-valve", level_db=12.0, curve=FLAT),
            Hiss(source="fitting", level_db=0.0, curve=FLAT),
        ),
    )
    clips = render(msgspec.structs.replace(spec, points=(point,)))
    quiet = [clips[("intake", Kind.QUIET, 1)]]
    assert measure.whitened_db(quiet, clips[("intake", Kind.SHUT, 1)]) == pytest.approx(0.0, abs=1.0)
    assert measure.whitened_db(quiet, clips[("intake", Kind.AIR, 1)]) == pytest.approx(12.3, abs=1.0)


def test_bubbles_come_at_their_rate_and_ring_in_their_band() -> None:
    """Events a second and the band they fill are what the drill and the bench rely on."""
    rate_hz, seconds = 48_000, 60
    wave = bubbles(np.random.default_rng(1), rate_hz * seconds, rate_hz, {"per_s": 0.5})
    loud = np.flatnonzero(np.abs(wave) > 0.02)
    events = 1 + int((np.diff(loud) > rate_hz // 10).sum())
    assert events == pytest.approx(30, abs=12)
    power = np.abs(np.fft.rfft(wave)) ** 2
    freq = np.fft.rfftfreq(len(wave), 1 / rate_hz)
    inside = power[(freq > 0.8 * BUBBLE_HZ[0]) & (freq < 1.2 * BUBBLE_HZ[1])].sum()
    assert inside / power.sum() > 0.98


def test_bubbles_sound_only_with_the_air_on() -> None:
    """They must stop with the air, or they are no sign of a leak."""
    spec = scenes.one_point(-60.0, seconds=2.0)
    wet = msgspec.structs.replace(spec.points[0], bubbles=Bubbles(per_s=20.0, peak_db=20.0))
    clips, dry = render(msgspec.structs.replace(spec, points=(wet,))), render(spec)
    quiet, air = ("intake", Kind.QUIET, 1), ("intake", Kind.AIR, 1)
    assert np.array_equal(clips[quiet].samples, dry[quiet].samples)
    assert np.abs(clips[air].samples - dry[air].samples).max() > 5 * np.std(dry[air].samples)
