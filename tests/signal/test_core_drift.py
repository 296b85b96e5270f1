"""Drift: repeats teach it, agreement sharpens it, and quantiles of the mixture are exact where they can be checked."""

import numpy as np
import pytest

from listen.signal.drift import NEPER_PER_DB, Repeat, estimate, prior, smooth_correlation, stated
from listen.signal.excess import upper_quantile

LIVE = np.ones(13, dtype=bool)


def repeats(rng, common_db, smooth_db, count, noise=0.01):
    root = np.linalg.cholesky(smooth_correlation() + 1e-9 * np.eye(13))
    for _ in range(count):
        step = common_db * rng.normal() + smooth_db * (root @ rng.normal(size=13))
        rho = np.sqrt(2) * step * NEPER_PER_DB + noise * rng.normal(size=13)
        yield Repeat(rho, noise**2 * np.eye(13), 2.0, LIVE)


@pytest.mark.parametrize("true_db", [0.0, 0.2, 0.5, 1.3])
def test_many_repeats_find_the_drift_there_is(true_db):
    rng = np.random.default_rng(1)
    found = estimate(list(repeats(rng, true_db, 0.0, 40)))
    assert found.rms_db == pytest.approx(true_db, abs=0.05 + 0.3 * true_db)


def test_without_repeats_the_prior_stands_and_sums_to_one():
    assert prior().weight.sum() == pytest.approx(1.0)
    found = estimate([])
    assert found.repeats == 0
    assert found.weight.sum() == pytest.approx(1.0)
    assert 0.3 < found.rms_db < 1.5


def test_repeats_that_agree_narrow_and_repeats_that_differ_widen():
    rng = np.random.default_rng(2)
    calm, wild = estimate(list(repeats(rng, 0.0, 0.0, 4))), estimate(list(repeats(rng, 1.2, 0.4, 4)))
    assert calm.rms_db < 0.3 * estimate([]).rms_db
    assert wild.rms_db > 2 * calm.rms_db


def test_scatter_beyond_the_blocks_raises_kappa():
    rng = np.random.default_rng(3)
    loud = [Repeat(0.06 * rng.normal(size=13), 0.02**2 * np.eye(13), 2.0, LIVE) for _ in range(6)]
    found = estimate(loud)
    assert found.weight @ found.kappa > 3.0


def test_a_stated_drift_is_taken_as_it_is():
    assert stated(0.4).rms_db == pytest.approx(0.4)
    assert stated(0.0).cov(LIVE)[0] == pytest.approx(np.zeros((13, 13)))


def test_quantile_of_one_normal_is_the_tables_and_of_a_mixture_lies_between():
    one = upper_quantile(0.025, np.array([1.0]), np.array([1.0]), 1e6)
    assert one == pytest.approx(1.959964, abs=1e-4)
    assert upper_quantile(0.025, np.array([2.0]), np.array([1.0]), 4.0) == pytest.approx(2 * 2.776445, abs=1e-4)
    mixed = upper_quantile(0.025, np.array([1.0, 3.0]), np.array([0.5, 0.5]), 1e6)
    assert one < mixed < 3 * one
