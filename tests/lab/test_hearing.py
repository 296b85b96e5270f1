"""Who hears what: own points, cross-talk, open valves, fittings, a wrong set-up, sound cylinders, bubbles."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from listen.lab.simulator.curves import FLAT
from listen.lab.simulator.hearing import CROSS_TALK_DB, OPEN_VALVE_DB, heard_at
from listen.lab.simulator.noises import BUBBLE_HZ, bubbles
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import Bubbles, Cause, Hiss, Truth
from listen.trade.points import Kind, PathId
from tests.lab import measure, scenes

POINTS = ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole-2")
ORDER = (1, 3, 4, 2)
"""Cylinder 1 at top dead centre: the exhaust valve of 2 is open, the intake valve of 3."""


def levels(path: PathId, seed: int, hiss_db: float = 10.0) -> dict[str, float]:
    """Loudest hiss of one cause at each point, about its own background as if all were equally loud."""
    truth = Truth(causes=(Cause(path, hiss_db),), blow_by_db=-90.0, bubbles_per_s=3.0)
    air, _, _, offsets = heard_at(np.random.default_rng(seed), "tune", truth, POINTS, 1, ORDER)
    return {p: max(h.level_db for h in air[p]) + offsets[p] for p in POINTS}


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
    """And elsewhere by no more than the stated cross-talk allows."""
    for seed in range(20):
        at = levels(path, seed)
        others = [at[p] - at[own] for p in POINTS if p != own]
        assert max(others) <= OPEN_VALVE_DB[1] + 0.02
        assert min(others) >= CROSS_TALK_DB[0] - 0.02


def test_an_open_valve_carries_an_exhaust_leak_to_the_neighbours_plug_hole() -> None:
    """Firing order 1-3-4-2 with cylinder 1 at top dead centre: hole 2 hears the exhaust, not the intake."""
    for seed in range(20):
        exhaust, intake = levels(PathId.EXHAUST_VALVE, seed), levels(PathId.INTAKE_VALVE, seed)
        through_valve = exhaust["plug-hole-2"] - exhaust["tailpipe"]
        shut_off = intake["plug-hole-2"] - intake["intake"]
        assert OPEN_VALVE_DB[0] - 0.02 <= through_valve <= OPEN_VALVE_DB[1] + 0.02
        assert shut_off <= CROSS_TALK_DB[1] + 0.02


def test_a_fitting_is_heard_alike_everywhere() -> None:
    """It leaks outside the engine."""
    spread = [np.ptp([v for p, v in levels(PathId.FITTING, s).items() if p != "plug-hole-2"]) for s in range(20)]
    assert np.median(spread) < 12.0  # background offsets of about 2 dB included
    at = [levels(PathId.FITTING, s) for s in range(20)]
    assert np.mean([a["plug-hole-2"] - a["intake"] for a in at]) > 1.0


def test_a_wrong_set_up_blows_at_intake_and_tailpipe() -> None:
    """Both valves are open off top dead centre."""
    for seed in range(10):
        at = levels(PathId.SET_UP, seed)
        assert abs(at["intake"] - at["tailpipe"]) < 15.0
        assert min(at["intake"], at["tailpipe"]) > max(at["radiator"], at["oil-filler"])


def test_a_sound_cylinder_hears_blow_by_only_and_about_as_much() -> None:
    """The reference must not carry the leak it is compared with."""
    truth = Truth(causes=(Cause(PathId.INTAKE_VALVE, 10.0),), blow_by_db=-3.0)
    steps = []
    for seed in range(60):
        air, sound, _, _ = heard_at(np.random.default_rng(seed), "report", truth, POINTS, 1, ORDER)
        assert {h.source for hisses in sound.values() for h in hisses} == {"blow-by"}
        own = next(h for h in air["oil-filler"] if h.source == "blow-by")
        steps.append(sound["oil-filler"][0].level_db - own.level_db)
    assert np.std(steps) == pytest.approx(2.0, abs=0.6)


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
