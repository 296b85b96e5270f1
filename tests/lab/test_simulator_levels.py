"""The stated hiss is the hiss in the clips: without this no bench and no drill means anything."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest

from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.draw import draw
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import Microphone
from listen.lab.simulator.worlds.world import Wishes
from listen.trade.points import Kind, PathId
from tests.lab import measure, scenes


@pytest.mark.parametrize("hiss_db", [-3.0, 3.0, 12.0])
@pytest.mark.parametrize("slope", [-6.0, 0.0, 6.0])
def test_the_stated_level_is_the_measured_level(hiss_db: float, slope: float) -> None:
    """Red, flat and blue leaks, faint to loud, over a red background."""
    clips = render(scenes.one_point(hiss_db, shape=curve(slope * OCTAVES), seconds=4.0))
    quiets = [clips[("intake", Kind.QUIET, n)] for n in (1, 2)]
    assert measure.whitened_db(quiets, clips[("intake", Kind.AIR, 1)]) == pytest.approx(hiss_db, abs=0.4)


@pytest.mark.parametrize("population", ["tune", "report"])
def test_drawn_rounds_hold_what_their_truth_says(population: str) -> None:
    """Over every synthetic shop of a population the loud own point is found at its stated level."""
    rng = np.random.default_rng(11)
    wishes = Wishes(
        paths=(PathId.INTAKE_VALVE,),
        hiss_db=12.0,
        points=("intake",),
        seconds=3,
        drift_db=0.0,
        takes=(Kind.QUIET, Kind.AIR, Kind.QUIET),
        rate_hz=48_000,
    )
    shops = set()
    for _ in range(8):
        spec = draw(rng, population, wishes=wishes)
        shops.add(spec.background.name)
        clips = render(spec)
        quiets = [clips[("intake", Kind.QUIET, n)] for n in (1, 2)]
        stated = 10 * np.log10(sum(10 ** (h.level_db / 10) for h in spec.points[0].air))
        found = measure.whitened_db(quiets, clips[("intake", Kind.AIR, 1)])
        assert found == pytest.approx(stated, abs=2.5), spec.background.name
    assert len(shops) >= 3


def test_louder_hiss_leaves_the_noise_of_the_quiet_clips_alone() -> None:
    """Benches compare the same round at two levels: only the hiss may differ."""
    soft, loud = render(scenes.one_point(0.0)), render(scenes.one_point(10.0))
    for n in (1, 2):
        key = ("intake", Kind.QUIET, n)
        assert np.array_equal(soft[key].samples, loud[key].samples)
    assert not np.array_equal(soft[("intake", Kind.AIR, 1)].samples, loud[("intake", Kind.AIR, 1)].samples)


def test_hiss_is_gaussian_noise() -> None:
    """The judge leans on that; a generator with peaks or a pattern would teach it wrong."""
    clip = render(scenes.one_point(20.0, seconds=4.0))[("intake", Kind.AIR, 1)]
    normal = (clip.samples - clip.samples.mean()) / clip.samples.std()
    assert abs(np.mean(normal**4, dtype=np.float64) - 3.0) < 0.15
    assert abs(float(clip.samples.mean())) < 1e-4


def test_a_loud_round_is_turned_down_whole_and_never_clipped() -> None:
    """A clipped simulated clip would flag itself and say nothing of the method; levels about quiet must hold."""
    spec = scenes.one_point(12.0, seconds=4.0)
    hot = msgspec.structs.replace(spec, microphone=Microphone(self_noise_db=-30.0, gain_db=60.0))
    clips = render(hot)
    assert max(float(np.abs(c.samples).max()) for c in clips.values()) <= 0.9 + 1e-6
    quiets = [clips[("intake", Kind.QUIET, n)] for n in (1, 2)]
    assert measure.whitened_db(quiets, clips[("intake", Kind.AIR, 1)]) == pytest.approx(12.0, abs=0.4)


def test_drift_moves_the_background_by_what_is_stated() -> None:
    """Drift is the real enemy of detection; the bench must know exactly how much it gave."""
    spec = scenes.one_point(-60.0, seconds=4.0)
    point = spec.points[0]
    louder = msgspec.structs.replace(point.takes[1], drift_db=1.0)
    moved = msgspec.structs.replace(
        spec, points=(msgspec.structs.replace(point, takes=(point.takes[0], louder, point.takes[2])),)
    )
    still, clips = render(spec), render(moved)
    key = ("intake", Kind.AIR, 1)
    ratio = measure.band_powers(clips[key]) / measure.band_powers(still[key])
    assert 10 * np.log10(ratio[:6].mean()) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("bits", [16, 24])
def test_samples_sit_on_the_steps_of_the_converter(bits: int) -> None:
    """Quantisation is part of a cheap microphone."""
    spec = msgspec.structs.replace(scenes.one_point(6.0), microphone=Microphone(bits=bits))
    steps = render(spec)[("intake", Kind.AIR, 1)].samples.astype(np.float64) * 2 ** (bits - 1)
    assert np.array_equal(steps, np.rint(steps))
