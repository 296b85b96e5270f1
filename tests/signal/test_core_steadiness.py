"""Steadiness of an increase: escaping air is steady, a ratchet that came along with it is not."""

import numpy as np
import pytest
from sounds import RATE_HZ, clip, noise

from listen.signal.point import measure_point
from listen.signal.steadiness import steadiness
from listen.trade.points import Kind


def found(quiet, air):
    point = measure_point("intake", [(Kind.QUIET, clip(quiet)), (Kind.AIR, clip(air))])
    return steadiness(point.takes[Kind.QUIET], point.takes[Kind.AIR])


def bursts(seed, level):
    on = np.repeat(np.random.default_rng(seed).random(40) < 0.25, RATE_HZ // 10)
    return noise(seed, level=level) * on


@pytest.mark.parametrize("seed", range(5))
def test_a_hiss_over_steady_noise_is_steady(seed):
    got = found(noise(seed), noise(seed + 10) + noise(seed + 20))
    assert got is not None
    assert got.found == pytest.approx(1.0, abs=0.3)
    assert not got.in_events


def test_an_increase_that_comes_and_goes_is_told():
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    got = found(noise(1), noise(2) + 3 * noise(3) * (0.5 + 0.5 * np.sin(2 * np.pi * 1.5 * t)))
    assert got is not None
    assert got.in_events


def test_bursts_that_were_there_before_the_hiss_are_not_held_against_it():
    got = found(noise(1) + bursts(4, 0.03), noise(2) + bursts(5, 0.03) + noise(6, level=0.03))
    assert got is None or not got.in_events


def test_no_increase_has_no_steadiness():
    assert found(noise(1), noise(2)) is None
