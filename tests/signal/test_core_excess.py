"""The excess: what comes out follows what went in, knocks and gain and order change nothing, the limit is honest."""

from itertools import permutations

import numpy as np
import pytest
from sounds import RATE_HZ, clip, noise

from listen.rounds.weigh import measure_alone, round_drift
from listen.signal.contrast import Contrast, correction_db, hiss_level, pool
from listen.signal.drift import RoundDrift, stated
from listen.signal.excess import excess
from listen.signal.point import measure_point
from listen.signal.take import degrees_of_freedom, quantile_bias
from listen.trade.points import Kind

STEADY = RoundDrift(stated(0.0), stated(0.0))


def measured(quiets, airs, drift=STEADY):
    point = measure_point("intake", [(Kind.QUIET, clip(q)) for q in quiets] + [(Kind.AIR, clip(a)) for a in airs])
    contrast = point.contrast(Kind.AIR)
    assert contrast is not None
    return excess(contrast, drift, point.live, point.floor_bias)


@pytest.mark.parametrize("db", [-10, -3, 0, 6, 12])
def test_hiss_of_a_stated_level_comes_out_at_that_level(db):
    air = noise(2) + noise(3) * 10 ** (db / 20)
    got = measured([noise(1)], [air])
    expected = 10 * np.log10(1 + 10 ** (db / 10))
    assert got.excess_db == pytest.approx(expected, abs=0.12)
    assert got.detected


def test_six_decibels_more_hiss_is_six_decibels_more_net_hiss():
    net = []
    for db in (3.0, 9.0):
        got = measured([noise(1)], [noise(2) + noise(3) * 10 ** (db / 20)])
        net.append(10 * np.log10(10 ** (got.excess_db / 10) - 1))
    assert net[1] - net[0] == pytest.approx(6.0, abs=0.15)


def test_ten_milliseconds_of_knock_fifty_decibels_above_a_faint_hiss_move_nothing():
    quiet, air = noise(1), noise(2) + 0.3 * noise(3)
    before = measured([quiet], [air]).excess_db
    for at in (10_000, 96_000, 150_123):
        knocked = air.copy()
        hiss_rms = 0.3 * 0.01
        knocked[at : at + RATE_HZ // 100] += noise(9, seconds=0.01, level=hiss_rms * 10 ** (50 / 20), slope=0.0)
        assert measured([quiet], [knocked]).excess_db == pytest.approx(before, abs=0.1)


@pytest.mark.parametrize("gain", [0.03, 0.2, 3.0])
def test_gain_of_the_whole_chain_changes_nothing(gain):
    quiet, air = noise(1), noise(2) + 0.5 * noise(3)
    one, other = measured([quiet], [air]), measured([gain * quiet], [gain * air])
    assert other.excess_db == pytest.approx(one.excess_db, abs=1e-3)
    assert other.detection_limit_db == pytest.approx(one.detection_limit_db, abs=1e-3)


def test_order_of_takes_changes_nothing():
    takes = [(Kind.QUIET, clip(noise(s, seconds=1.5 + 0.5 * s))) for s in (1, 2)]
    takes += [(Kind.AIR, clip(noise(s, seconds=2.0) + 0.4 * noise(s + 50, seconds=2.0))) for s in (3, 4)]
    found = set()
    for order in permutations(takes):
        point = measure_point("intake", order)
        drift = round_drift([point])
        got = measure_alone(point, drift).excess
        assert got is not None
        found.add(tuple(np.round([got.excess_db, *got.ci95_db, got.detection_limit_db], 9)))
    assert len(found) == 1


def test_louder_background_in_the_air_clip_alone_is_a_negative_or_positive_excess_never_clipped():
    got = measured([noise(1)], [0.9 * noise(2)])
    assert got.excess_db == pytest.approx(20 * np.log10(0.9), abs=0.1)


def test_four_times_the_time_halves_the_limit():
    short = measured([noise(1, seconds=4)], [noise(2, seconds=4)]).detection_limit_db
    long = measured([noise(1, seconds=16)], [noise(2, seconds=16)]).detection_limit_db
    assert long / short == pytest.approx(0.5, rel=0.15)


def test_a_second_quiet_clip_that_differs_widens_the_interval():
    quiet, air = noise(1), noise(2) + 0.5 * noise(3)

    def width(second):
        point = measure_point("intake", [(Kind.QUIET, clip(quiet)), (Kind.QUIET, clip(second)), (Kind.AIR, clip(air))])
        got = measure_alone(point, round_drift([point])).excess
        assert got is not None
        return got.ci95_db[1] - got.ci95_db[0]

    assert width(1.12 * noise(4)) > 1.5 * width(noise(4))


def test_speech_like_background_leaves_the_say_to_the_floors():
    rng = np.random.default_rng(3)

    def talk(seed):
        on = np.repeat(rng.random(16) < 0.5, RATE_HZ // 4)
        return noise(seed, level=0.002) + noise(seed + 1, level=0.03) * on

    got = measured([talk(10)], [talk(20) + noise(30, level=0.002)])
    steady = measured([noise(1)], [noise(2)])
    assert got.floor_share > 0.8
    assert steady.floor_share < 0.3


def test_correction_for_the_background_is_that_of_the_standards():
    # ISO 3744, table of K1: 6 dB -> 1.3, 10 dB -> 0.5; held at the 3 dB value below, nothing above 15 dB.
    assert correction_db(np.array([3.0, 6.0, 10.0, 15.1])) == pytest.approx([3.02, 1.26, 0.46, 0.0], abs=0.01)
    assert correction_db(np.array([0.5]))[0] == correction_db(np.array([3.0]))[0]


def test_level_is_an_upper_bound_until_the_air_stands_three_decibels_clear():
    def level(hiss_db):
        air = noise(2) + noise(3) * 10 ** (hiss_db / 20)
        point = measure_point("intake", [(Kind.QUIET, clip(noise(1))), (Kind.AIR, clip(air))])
        contrast = point.contrast(Kind.AIR)
        assert contrast is not None
        return hiss_level(contrast)

    faint, clear = level(-10), level(10)
    assert faint.is_upper_bound
    assert not clear.is_upper_bound
    # In the hiss bands the made noise has a known share of its power.
    s = noise(3) * 10 ** (10 / 20)
    f = np.fft.rfftfreq(len(s), 1 / RATE_HZ)
    inside = (f > 891) & (f < 17783)
    power = 2 * np.sum(np.abs(np.fft.rfft(s)[inside]) ** 2) / len(s) ** 2
    assert clear.level_db == pytest.approx(10 * np.log10(power), abs=0.2)


def test_floor_bias_of_steady_noise_is_removed():
    point = measure_point("intake", [(Kind.QUIET, clip(noise(1, seconds=20)))])
    take = point.takes[Kind.QUIET][0]
    assert 10 * np.log10(take.floor / point.floor_bias / take.mean) == pytest.approx(np.zeros(13), abs=0.25)
    assert (np.diff(quantile_bias(np.array([4.0, 20.0, 400.0]))) > 0).all()
    assert degrees_of_freedom(np.ones((100, 1), dtype=np.float32))[0] == pytest.approx(103, rel=0.05)


def test_pooling_one_take_is_that_take():
    point = measure_point("intake", [(Kind.QUIET, clip(noise(1))), (Kind.AIR, clip(noise(2)))])
    take = point.takes[Kind.QUIET][0]
    group = pool([take])
    assert group.mean == pytest.approx(take.mean)
    assert group.cov == pytest.approx(take.cov)
    assert Contrast(group, group).rho == pytest.approx(np.zeros(13))
