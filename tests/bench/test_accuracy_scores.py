"""Protects the scores: each against a case worked by hand or a slower definition of the same thing."""

from __future__ import annotations

import numpy as np
import pytest

from listen.bench.accuracy.scores import ALL_PATHS, COMPARED, Forecast, augrc, earned, ece, ece_floor, not_beaten, score


def forecast(truth: set[str], involved: dict[str, float]) -> Forecast:
    total = sum(involved.values())
    share = {p: v / total for p, v in involved.items()}
    return Forecast(frozenset(truth), share, involved, earned(involved), "shop")


def test_a_pair_named_in_part_is_right_and_with_a_stranger_wrong() -> None:
    pair = {"rings", "intake-valve"}
    assert forecast(pair, {"rings": 0.95, "intake-valve": 0.4}).right
    assert forecast(pair, {"rings": 0.95, "intake-valve": 0.93}).right
    assert not forecast(pair, {"rings": 0.95, "fitting": 0.92}).right
    assert not forecast(pair, {"rings": 0.89}).named


def test_a_fitting_named_on_a_sound_cylinder_is_wrong_but_no_false_call_of_a_leak() -> None:
    s = score([forecast({"none"}, {"fitting": 1.0}), forecast({"none"}, {"rings": 0.95, "none": 0.05})])
    assert (s.right.hits, s.right.of) == (0, 2)
    assert (s.false_calls.hits, s.false_calls.of) == (1, 2)


def test_brier_and_log_loss_worked_by_hand() -> None:
    s = score([forecast({"rings"}, {"rings": 0.8, "none": 0.2})])
    assert s.brier == pytest.approx(0.2**2 + 0.2**2)
    assert s.log_loss == pytest.approx(-np.log(0.8))
    pair = score([forecast({"rings", "fitting"}, {"rings": 0.5, "fitting": 0.5})])
    assert pair.brier == pytest.approx(0.0)
    assert pair.log_loss == pytest.approx(np.log(2))


def test_augrc_is_the_chance_that_an_error_is_accepted_at_a_random_threshold() -> None:
    rng = np.random.default_rng(3)
    confidence, loss = rng.permutation(500) / 500.0, (rng.random(500) < 0.3).astype(float)
    order = np.argsort(-confidence)
    risk = np.cumsum(loss[order]) / 500
    assert augrc(confidence, loss) == pytest.approx(float(risk.mean()), abs=1e-3)
    assert augrc(confidence, np.zeros(500)) == 0.0
    assert augrc(np.ones(4), np.ones(4)) == pytest.approx(0.5)


def test_augrc_prefers_errors_at_low_confidence() -> None:
    confidence = np.linspace(0.1, 1, 20)
    late, early = (confidence < 0.3).astype(float), (confidence > 0.8).astype(float)
    assert augrc(confidence, late) < augrc(confidence, early)


def test_ece_of_one_bin_is_its_gap_and_the_floor_of_certainty_is_nought() -> None:
    assert ece(np.full(10, 0.75), np.r_[np.ones(5), np.zeros(5)]) == pytest.approx(0.25)
    assert ece_floor(np.ones(50)) == 0.0


def test_the_ece_floor_is_what_a_perfect_forecaster_gets() -> None:
    rng = np.random.default_rng(1)
    confidence = rng.uniform(0.3, 1.0, 1000)
    got = np.mean([ece(confidence, (rng.random(1000) < confidence).astype(float)) for _ in range(60)])
    assert ece_floor(confidence) == pytest.approx(float(got), rel=0.1)


def test_a_peer_that_says_nothing_still_counts_where_it_is_as_good() -> None:
    ours = score([forecast({"rings"}, {"rings": 0.95, "none": 0.05}), forecast({"none"}, {"none": 1.0})])
    mute = score([forecast({"rings"}, {"rings": 0.5, "none": 0.5}), forecast({"none"}, {"none": 0.6, "rings": 0.4})])
    assert not_beaten(ours, mute) == ("false calls", "AUGRC")
    assert set(not_beaten(ours, ours)) == {name for name, _, _ in COMPARED}


def test_every_path_has_a_column() -> None:
    assert {"none", "rings", "set-up"} < set(ALL_PATHS)
