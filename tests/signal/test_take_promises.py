"""What a take's band numbers promise, figures written out: how sure they are, what a floor is, how takes are pooled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import gammaincinv

from listen.signal.contrast import Contrast, correction_db, hiss_level, pool
from listen.signal.take import (
    TakeBands,
    degrees_of_freedom,
    floor_power,
    jackknife_log_floor,
    quantile_bias,
    shrunk_correlation,
    take_bands,
)

FRAME = 256
BINS = 20


def hann_power(seed: int, seconds: float, bands: int = 1, rate_hz: int = 16_000) -> np.ndarray:
    """Band powers of white noise in Hann frames that overlap by half [shape=(T, bands)], ``BINS`` bins a band."""
    x = np.random.default_rng(seed).standard_normal(round(seconds * rate_hz))
    frames = np.lib.stride_tricks.sliding_window_view(x, FRAME)[:: FRAME // 2]
    power = np.abs(np.fft.rfft(frames * np.hanning(FRAME), axis=1)) ** 2
    return np.stack([power[:, 10 + b * BINS : 10 + (b + 1) * BINS].sum(axis=1) for b in range(bands)], axis=1)


def reduced(power: np.ndarray, seconds: float, rate_hz: int = 16_000) -> TakeBands:
    bands = power.shape[1]
    width_hz = np.full(bands, BINS * rate_hz / FRAME)
    return take_bands(power, width_hz, seconds, np.full(bands, 2.0 * BINS))


def test_steady_noise_scatters_as_much_as_is_said_of_it() -> None:
    """Overlapping Hann frames use 0.947 of bandwidth times time: over 40 takes of 4 s the inflation is 1 to 8 %."""
    found = [reduced(hann_power(seed, 4.0, bands=4), 4.0).inflation for seed in range(40)]
    assert np.mean(found) == pytest.approx(1.0, abs=0.08)


def test_a_frame_has_as_many_degrees_of_freedom_as_its_scatter_shows() -> None:
    power = hann_power(1, 60.0)[::2, 0]
    seen = 2.0 * power.mean() ** 2 / power.var()
    assert degrees_of_freedom(np.ones((BINS, 1), np.float32))[0] == pytest.approx(seen, rel=0.05)
    assert degrees_of_freedom(np.ones((1, 1), np.float32))[0] == pytest.approx(2.0)


@pytest.mark.parametrize(("seconds", "blocks"), [(4.0, 16), (8.0, 32), (0.5, 4)])
def test_a_take_is_as_sure_as_its_quarters_of_a_second_and_never_fewer_than_four(seconds: float, blocks: int) -> None:
    assert reduced(hann_power(2, seconds), seconds).dof == blocks - 1


def test_a_floor_is_as_sure_as_half_seconds_left_out_by_turns_24_at_most() -> None:
    power = hann_power(3, 4.0) * np.repeat([1.0, 4.0], 250)[: len(hann_power(3, 4.0)), None]
    assert reduced(power, 4.0).floor_cov[0, 0] == pytest.approx(jackknife_log_floor(power, 8)[0, 0])
    assert reduced(power[:60], 0.5).floor_cov[0, 0] == pytest.approx(jackknife_log_floor(power[:60], 4)[0, 0])
    assert np.array_equal(jackknife_log_floor(power, 24), jackknife_log_floor(power, 100))
    assert not np.array_equal(jackknife_log_floor(power, 23), jackknife_log_floor(power, 24))


@pytest.mark.parametrize(("gaps", "heard"), [(0.3, True), (0.2, False)])
def test_the_floor_is_what_a_quarter_of_the_frames_stay_below(gaps: float, heard: bool) -> None:
    frames = np.full((1000, 1), 100.0)
    frames[: round(gaps * 1000)] = 1.0
    assert bool(floor_power(frames)[0] == 1.0) is heard


@pytest.mark.parametrize("nu", [4.0, 10.0, 80.0])
def test_the_floor_of_steady_noise_lies_where_chi_square_has_its_quarter(nu: float) -> None:
    assert quantile_bias(np.array([nu]))[0] == pytest.approx(2.0 * gammaincinv(0.5 * nu, 0.25) / nu, rel=0.01)


def test_chance_alone_makes_bands_unlike_4_times_in_100_and_moving_together_one_in_five() -> None:
    """13 bands over 16 blocks: beyond 1.8 times the scatter of chance, beyond 1.3 times its squared correlations."""
    rng = np.random.default_rng(4)
    apart = together = 0
    for y in rng.standard_normal((300, 16, 13)):
        frames = np.repeat(1.0 + 0.02 * y, 10, axis=0)
        variance = np.diag(take_bands(frames, np.full(13, 1000.0), 4.0, np.full(13, 40.0)).cov)
        apart += not np.allclose(variance, variance[0])
        scale = np.sqrt((y[1:] ** 2).sum(axis=0))
        together += shrunk_correlation(y[1:].T @ y[1:] / np.outer(scale, scale), 15)[1] < 1.0
    assert 0.02 <= apart / 300 <= 0.08
    assert 0.12 <= together / 300 <= 0.26


def test_bands_that_agree_are_taken_together_and_one_that_stands_out_by_chance_too() -> None:
    """Where the scatter over bands is chance, one inflation is told of by all their blocks: 15 of each of 4 bands."""
    found = [reduced(hann_power(seed, 4.0, bands=4), 4.0).dof for seed in range(25)]
    assert np.median(found) == pytest.approx(15.0 * 4.0)


def taken(mean: float, variance: float) -> TakeBands:
    one, cov = np.array([mean]), np.array([[variance]])
    return TakeBands(one, cov, one, cov, 15.0, 1.0, np.ones(1), 1.0, 4.0)


def test_an_endless_take_counts_twice_one_that_scatters_by_a_fifth_of_a_decibel() -> None:
    """What a shop moves between takes, 0.05 nepers, keeps a long take from standing alone."""
    assert pool([taken(1.0, 0.0), taken(4.0, 0.05**2)]).mean[0] == pytest.approx(2.0)


@pytest.mark.parametrize(("delta_db", "k1_db"), [(1.0, 3.02), (3.0, 3.02), (6.0, 1.26), (14.9, 0.14), (15.1, 0.0)])
def test_the_background_is_taken_out_as_the_standards_say(delta_db: float, k1_db: float) -> None:
    """ISO 3744 and 3746: no more than at 3 dB, nothing from 15 dB on."""
    assert correction_db(np.array([delta_db]))[0] == pytest.approx(k1_db, abs=0.005)


@pytest.mark.parametrize(("share", "bound"), [(0.45, False), (0.55, True)])
def test_a_level_is_an_upper_bound_where_half_of_it_hardly_stands_out(share: float, bound: bool) -> None:
    """Half of the corrected power from bands that lie less than 3 dB above quiet."""
    air = np.array([share * 10 ** (0.1 * correction_db(np.array([2.9]))[0]), 1.0 - share])
    quiet = air * 10.0 ** (-0.1 * np.array([2.9, 30.0]))
    cov = np.eye(2) * 1e-4
    group = pool([replace(taken(1.0, 1e-4), mean=quiet, cov=cov, floor=quiet, floor_cov=cov)])
    assert hiss_level(Contrast(group, replace(group, mean=air))).is_upper_bound is bound
