"""What the signal room promises, with the numbers written out: false alarms, limits, intervals, drift, gates, bands."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from sounds import clip, noise

from listen.errors import ClipError
from listen.signal.bands import drowned_bands, live_bands
from listen.signal.clip import Clip
from listen.signal.contrast import Contrast, Group, pool, repeats
from listen.signal.drift import NEPER_PER_DB, RoundDrift, estimate, prior, smooth_correlation, stated
from listen.signal.excess import Excess, excess, whitening
from listen.signal.exhibit import exhibit
from listen.signal.quality_mic import full_scale_db_spl
from listen.signal.quality_pair import spectral_kurtosis
from listen.signal.spectra import spectra
from listen.signal.steadiness import steadiness
from listen.signal.switched_blocks import standing_out
from listen.signal.take import TakeBands, gate

LIVE = np.ones(13, dtype=np.bool_)
BAND_SD = 0.01
"""Standard deviation of the log of each band's power, in nepers, in quiet and air alike."""
SIGMA_DB = BAND_SD * math.sqrt(2.0 / 13.0) / NEPER_PER_DB
"""What that leaves of their ratio's mean over thirteen bands: 0.017 dB."""


def measured(
    ratio: float,
    *,
    drift_db: float = 0.0,
    floor_sd: float = 30.0,
    quiet_sd: float = BAND_SD,
    air_sd: float = BAND_SD,
) -> Excess:
    """Excess of an air clip ``ratio`` times as powerful in each band, clips long enough for a normal distribution."""
    same, floor = np.ones(13), floor_sd**2 * np.eye(13)
    quiet = Group(same, quiet_sd**2 * np.eye(13), same, floor, 0.5, 1e6)
    air = Group(ratio * same, air_sd**2 * np.eye(13), ratio * same, floor, 1.0, 1e6)
    drift = stated(drift_db)
    return excess(Contrast(quiet, air), RoundDrift(drift, drift), LIVE, same)


def above(sigmas: float) -> float:
    return math.exp(sigmas * SIGMA_DB * NEPER_PER_DB)


def test_one_false_alarm_in_a_thousand() -> None:
    """A normal variate exceeds 3.09 standard deviations once in a thousand times; 2.88 twice, 2.33 ten times."""
    assert [measured(above(s)).detected for s in (2.9, 3.05, 3.12, 3.3)] == [False, False, True, True]


def test_95_of_100_are_found_at_the_printed_limit() -> None:
    """1.645 standard deviations above where it is called detected: 4.735 in all, 0.081 dB here."""
    limit_db = measured(1.0).detection_limit_db
    assert limit_db == pytest.approx((3.0902 + 1.6449) * SIGMA_DB, rel=1e-3)
    heard_db = limit_db + SIGMA_DB * np.random.default_rng(1).standard_normal(400)
    found = [measured(10.0 ** (x / 10.0)).detected for x in heard_db]
    assert 0.93 < np.mean(found) < 0.97


def test_the_interval_is_one_of_95_percent() -> None:
    """1.96 standard deviations to either side; a louder hiss is known as well as its own clip."""
    low, high = measured(1.0).ci95_db
    assert (low, high) == pytest.approx((-1.95996 * SIGMA_DB, 1.95996 * SIGMA_DB), rel=1e-3)


def half_db(found: Excess) -> float:
    return 0.5 * (found.ci95_db[1] - found.ci95_db[0])


@pytest.mark.parametrize("ratio", [1.0, 2.0, 10.0])
def test_a_hiss_is_no_surer_than_the_quiet_clip_that_it_is_measured_by_however_loud(ratio: float) -> None:
    """A ratio is as uncertain as its divisor: 1.96 x 0.01 / root 13 nepers, 0.0236 dB, at any level."""
    assert half_db(measured(ratio, air_sd=1e-7)) == pytest.approx(0.0236, abs=1e-4)


def test_of_floors_the_quiet_one_is_only_taken_away() -> None:
    """Ten times as loud, a floor taken away counts once and the air's own ten times: root 101 of 200."""
    sure = measured(10.0, floor_sd=BAND_SD, quiet_sd=1e-7, air_sd=1.0)
    assert sure.floor_share == 1.0
    assert half_db(sure) == pytest.approx(1.95996 * BAND_SD * math.sqrt(101.0 / 13.0) / 10.0 / NEPER_PER_DB, rel=1e-3)


def test_a_switched_take_weighs_its_bands_by_what_they_do_without_hiss() -> None:
    """Three times the variance, a third of the weight; what the halves themselves scatter by is of another thing."""
    same, cov = np.ones(2), BAND_SD**2 * np.eye(2)
    group = Group(same, cov, same, cov, 1.0, 1e6)
    assert whitening(Contrast(group, group, silent=np.diag([1.0, 3.0]))) == pytest.approx([0.75, 0.25])
    assert whitening(Contrast(group, group)) == pytest.approx([0.5, 0.5])


def test_floors_as_sure_as_means_take_a_tenth_off_the_limit() -> None:
    """They are six tenths the same: half of each has (1 + 0.6) / 2 of the variance."""
    limits = [measured(1.0, floor_sd=sd).detection_limit_db for sd in (BAND_SD, 2.0 * BAND_SD)]
    assert limits == pytest.approx([math.sqrt(0.8) * 4.735 * SIGMA_DB, 4.735 * SIGMA_DB], rel=1e-3)


def test_drift_of_half_a_decibel_makes_a_limit_of_three() -> None:
    """One air clip against two quiet ones: 0.5 dB x sqrt(1.5) x 4.735 = 2.9 dB, whatever the clips' length."""
    assert measured(1.0, drift_db=0.5).detection_limit_db == pytest.approx(2.90, abs=0.01)


def test_a_quiet_clip_a_thousand_times_louder_is_told_as_minus_30_db() -> None:
    assert measured(1e-6).excess_db == pytest.approx(-30.0)


def test_what_a_shop_is_taken_for_before_it_repeats_a_clip() -> None:
    """Three in ten are steady; where one is not, its level moves by 0.4 dB and its colour by 0.15 dB in the middle;
    blocks understate the scatter between clips threefold on average; 84 scenarios of 140 are worth keeping."""
    p = prior()
    common_db, smooth_db = p.common / NEPER_PER_DB, p.smooth / NEPER_PER_DB
    assert float(p.weight[common_db == 0.0].sum()) == pytest.approx(0.3)
    assert float(p.weight[smooth_db == 0.0].sum()) == pytest.approx(0.3)
    assert float(p.weight @ p.kappa) == pytest.approx(3.0)
    assert math.sqrt(float(p.weight @ common_db**2)) == pytest.approx(0.60, abs=0.01)
    assert math.sqrt(float(p.weight @ smooth_db**2)) == pytest.approx(0.25, abs=0.01)
    assert [float(p.weight[p.kappa == k].sum()) for k in (1.0, 2.0, 4.0, 9.0)] == pytest.approx([0.45, 0.2, 0.2, 0.15])
    assert (len(p.weight), len(estimate([]).weight)) == (140, 84)
    assert smooth_correlation()[0, 3] == pytest.approx(math.exp(-1.0), abs=0.005)  # an octave apart


def test_a_take_twice_as_sure_counts_nearly_as_much_once_the_shop_may_have_moved() -> None:
    def take(sd: float) -> TakeBands:
        return TakeBands(
            np.ones(13), sd**2 * np.eye(13), np.ones(13), sd**2 * np.eye(13), 30.0, 1.0, np.ones(13), 1.0, 4.0
        )

    sure, unsure = 1.0 / (0.01**2 + 0.05**2), 1.0 / (0.05**2 + 0.05**2)
    expected = (sure**2 + unsure**2) / (sure + unsure) ** 2
    assert pool([take(0.01), take(0.05)]).spread == pytest.approx(expected, rel=1e-6)


def frames(extra: float, bands: slice) -> np.ndarray:
    """A thousand frames of log band power, one normal course in all bands; one frame more, ``extra`` higher."""
    quantiles = [math.sqrt(2) * _erfinv(2 * (i + 0.5) / 1000 - 1) for i in range(1000)]
    course = np.repeat(np.array(quantiles)[:, None], 13, axis=1)
    one = np.zeros((1, 13))
    one[0, bands] = extra
    return np.concatenate([course, one])


def _erfinv(x: float) -> float:
    from scipy.special import erfinv

    return float(erfinv(x))


@pytest.mark.parametrize(
    ("extra", "bands", "kept"),
    [
        (3.9, slice(None), True),
        (4.1, slice(None), False),
        (7.9, slice(3, 4), True),
        (8.2, slice(3, 4), False),
    ],
)
def test_a_frame_is_left_out_from_4_sigma_in_all_bands_or_8_in_one(extra: float, bands: slice, kept: bool) -> None:
    found = gate(frames(extra, bands))
    assert bool(found[-1]) is kept
    assert found[:-1].all()


def test_a_band_is_heard_from_four_tenths_of_its_width_below_92_percent_of_half_the_rate() -> None:
    """At 48 kHz all thirteen; of 16 kHz the sixth to 3.55 kHz ends where the usable band does."""
    assert live_bands(48_000, math.inf).sum() == 13
    lower, width = 1000.0 * 10**0.45, 1000.0 * (10**0.55 - 10**0.45)
    assert live_bands(48_000, lower + 0.38 * width).sum() == 5
    assert live_bands(48_000, lower + 0.42 * width).sum() == 6
    assert live_bands(16_000, math.inf).sum() == live_bands(48_000, 0.92 * 8000.0).sum()


def test_a_band_is_drowned_when_more_than_half_of_its_bins_are_tones() -> None:
    weights = np.ones((10, 1), dtype=np.float32)
    assert [bool(drowned_bands(weights, np.arange(10) < n)[0]) for n in (5, 6)] == [False, True]


def test_kurtosis_takes_four_frames() -> None:
    four, three = (spectra(clip(noise(1, seconds=s))) for s in (0.19, 0.16))
    assert (len(four.power[::2]), len(three.power[::2])) == (4, 3)
    assert np.isfinite(spectral_kurtosis(four)).all()
    with pytest.raises(ClipError, match="at least 4"):
        spectral_kurtosis(three)


def test_no_sample_may_be_a_hundred_million_times_full_scale_and_more() -> None:
    with pytest.raises(ClipError, match="times full scale"):
        Clip.of([0.0, 1.1e10], 48_000)
    assert Clip.of([0.0, 0.9e10], 48_000).rate_hz == 48_000


def test_a_spectrum_is_drawn_in_twelve_steps_an_octave() -> None:
    shown = exhibit(clip(noise(1)), None)
    assert np.diff(shown.lg_freq) * math.log2(10.0) == pytest.approx(np.full(len(shown.lg_freq) - 1, 1 / 12), rel=0.01)


def tone(wander_db: float = 0.0, hz: float = 1000.0) -> Clip:
    t = np.arange(3 * 48_000) / 48_000
    swing = 10 ** (wander_db / 40 * np.sin(2 * np.pi * 0.5 * t))
    return clip(0.3 * swing * np.sin(2 * np.pi * hz * t))


def test_a_calibrator_is_steady_to_half_a_decibel_and_within_60_hz() -> None:
    assert full_scale_db_spl(tone(0.4), 94.0) == pytest.approx(94.0 - 20 * math.log10(0.3), abs=0.1)
    with pytest.raises(ClipError, match="wanders"):
        full_scale_db_spl(tone(0.7), 94.0)
    assert full_scale_db_spl(tone(hz=1030.0), 94.0) == pytest.approx(104.5, abs=0.2)
    with pytest.raises(ClipError, match="1 kHz tone"):
        full_scale_db_spl(tone(hz=1100.0), 94.0)


def test_a_half_cycle_that_leaves_its_like_by_five_standard_deviations_is_left_out() -> None:
    """Halves scatter by about a hundredth; one that a lorry lifted by a twentieth stays, by a tenth goes."""
    halves, scatter = np.arange(12), 0.01 * np.array([1, -1, 0, 2, -2, 1, 0, -1, 2, -1, 1, 0])

    def left_out(lifted: float) -> int | None:
        level = 0.5 * (halves % 2) + scatter + lifted * (halves == 6)
        made = SimpleNamespace(half=halves, y=np.exp(level)[:, None] - 1.0)
        return standing_out(made, np.ones(1))  # type: ignore[arg-type]

    assert [left_out(lifted) for lifted in (0.05, 0.1, -0.1)] == [None, 6, 6]


def taken(mean: float, sd: float = 0.1) -> TakeBands:
    """A take of thirteen bands alike, its floors as its means but twice as unsure."""
    bands, cov = np.full(13, mean), sd**2 * np.eye(13)
    return TakeBands(bands, cov, bands, 4.0 * cov, 15.0, 1.0, np.ones(13), 1.0, 4.0)


def test_of_two_takes_pooled_the_louder_carries_more_of_the_mean_and_of_its_doubt() -> None:
    """1 and 3 make 2; of its logarithm a quarter is the one's and three quarters the other's: 1/16 + 9/16."""
    pooled = pool([taken(1.0), taken(3.0)])
    assert pooled.mean == pytest.approx(np.full(13, 2.0))
    assert np.diag(pooled.cov) == pytest.approx(np.full(13, 0.625 * 0.01))
    assert np.diag(pooled.floor_cov) == pytest.approx(np.full(13, 0.625 * 0.04))
    assert pooled.floor == pytest.approx(np.full(13, 2.0))
    assert (pooled.spread, pooled.dof) == (0.5, 30.0)
    against = Contrast(pool([taken(0.5)]), pooled)
    assert against.rho == pytest.approx(np.full(13, math.log(4.0)))
    assert against.rho_floor == pytest.approx(np.full(13, math.log(4.0)))


@pytest.mark.parametrize("floors", [False, True])
def test_each_take_is_held_against_the_mean_of_those_before_it(floors: bool) -> None:
    """The second against one, the third against two: twice the doubt of a take, then one and a half times."""
    found = repeats([taken(1.0), taken(math.e), taken(math.e**2)], LIVE, floors)
    assert [r.rho[0] for r in found] == pytest.approx([1.0, 1.5])
    one = 0.04 if floors else 0.01
    assert [r.cov[0, 0] for r in found] == pytest.approx([2.0 * one, 1.5 * one])
    assert [r.spread for r in found] == [2.0, 1.5]


def test_drift_moves_the_background_under_a_hiss_never_the_hiss_itself() -> None:
    """Ten times as loud, a tenth of the air clip is background; softer than the quiet clip, all of it."""
    quiet = pool([taken(1.0)])
    shares = [Contrast(quiet, pool([taken(air)])).drift_share for air in (10.0, 1.0, 0.5)]
    assert [s[0, 0] for s in shares] == pytest.approx([1.0 + 0.01, 2.0, 2.0])


def test_bands_that_are_left_out_leave_every_part_of_a_contrast() -> None:
    few = np.arange(13) >= 11
    group = pool([taken(1.0)])
    left = Contrast(group, group, silent=np.diag(np.arange(13.0))).only(few)
    assert left.silent is not None and np.diag(left.silent).tolist() == [11.0, 12.0]
    assert [len(g.mean) for g in (left.quiet, left.air)] == [2, 2]
    assert left.quiet.cov.shape == left.air.floor_cov.shape == (2, 2)


def lively(power: np.ndarray, kurtosis: float) -> list[TakeBands]:
    one = taken(1.0)
    return [TakeBands(power, one.cov, power, one.floor_cov, 15.0, 1.0, np.full(13, kurtosis), 1.0, 4.0)]


def test_a_steady_hiss_dilutes_what_the_shop_does_and_an_increase_beyond_that_came_in_events() -> None:
    """Half of the power hiss: a quarter of the liveliness is left, 1.5 of 3; with the shop's own the limit is 4.5."""
    quiet, twice = lively(np.ones(13), 3.0), np.full(13, 2.0)
    found = steadiness(quiet, lively(twice, 4.4))
    assert found is not None
    assert (found.found, found.steady, found.quiet, found.limit) == pytest.approx((4.4, 1.5, 3.0, 4.5))
    assert not found.in_events
    beyond = steadiness(quiet, lively(twice, 4.6))
    assert beyond is not None and beyond.in_events


def test_steadiness_is_read_where_three_tenths_are_hiss_in_one_band_or_more() -> None:
    quiet = lively(np.ones(13), 1.0)
    assert steadiness(quiet, lively(np.full(13, 1.40), 1.0)) is None
    assert steadiness(quiet, lively(np.full(13, 1.45), 1.0)) is not None
    one_band = np.ones(13)
    one_band[4] = 3.0
    assert steadiness(quiet, lively(one_band, 1.0)) is not None
