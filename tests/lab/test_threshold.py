"""The ear threshold: simulated listeners with known thresholds are measured; real trials hold what they say."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from listen.audio.write import write_flac
from listen.errors import LabError
from listen.lab.ear.psychometric import Threshold, Trial, fit, share_right
from listen.lab.ear.staircase import TRIALS, Staircase
from listen.lab.ear.threshold import Pair, ThresholdRun, background, backgrounds, thresholds_of
from listen.lab.learners import Learner, create_learner
from listen.signal.clip import Clip
from tests.lab import measure


@pytest.fixture
def ada(lab: Path) -> Learner:
    return create_learner(lab, "Ada")


def run(hears: Callable[[float], bool]) -> Threshold:
    staircase = Staircase()
    while not staircase.done:
        staircase.answer(hears(staircase.level_db))
    return staircase.result()


@pytest.mark.parametrize("threshold_db", [-20.0, -12.0, -6.0, 0.0, 6.0])
@pytest.mark.parametrize("spread_db", [0.7, 1.3, 2.5])
def test_a_known_threshold_is_measured_within_one_and_a_half_decibels(threshold_db: float, spread_db: float) -> None:
    """Mean over 80 runs of 40 trials; the spread of single runs stays below 3 dB and their intervals hold."""
    rng = np.random.default_rng(7)
    found = [run(lambda x: bool(rng.random() < float(share_right(x, threshold_db, spread_db)))) for _ in range(80)]
    errors = np.array([t.threshold_db - threshold_db for t in found])
    inside = np.mean([t.low95_db <= threshold_db <= t.high95_db for t in found])
    assert all(t.trials <= 40 for t in found)
    assert abs(errors.mean()) < 1.5
    assert errors.std() < 3.0
    assert inside > 0.8


def test_someone_who_only_guesses_gets_no_good_threshold() -> None:
    """Half right by chance must not look like an ear."""
    rng = np.random.default_rng(3)
    found = [run(lambda _: bool(rng.random() < 0.5)) for _ in range(30)]
    assert np.median([t.threshold_db for t in found]) > 0.0


def test_louder_is_never_harder_and_chance_is_one_half() -> None:
    """The psychometric function itself."""
    levels = np.linspace(-40, 40, 81)
    p = share_right(levels, -5.0, 1.3)
    assert np.all(np.diff(p) >= 0) and p[0] == pytest.approx(0.5, abs=1e-6) and p[-1] == pytest.approx(0.98, abs=1e-6)


def test_more_trials_narrow_the_interval() -> None:
    """The interval is earned, not decorative."""
    few = [Trial(-6.0, True), Trial(-10.0, False)]
    assert _width(fit(few * 10)) < _width(fit(few)) < _width(fit([]))


def _width(t: Threshold) -> float:
    return t.high95_db - t.low95_db


def test_three_right_go_down_one_wrong_goes_up() -> None:
    """Levitt 1971, after the first mistake."""
    staircase = Staircase()
    start = staircase.level_db
    staircase.answer(True)
    assert staircase.level_db < start
    staircase.answer(False)
    low = staircase.level_db
    for _ in range(2):
        staircase.answer(True)
        assert staircase.level_db == low
    staircase.answer(True)
    assert staircase.level_db < low


def energy_listener(pair: Pair) -> int:
    """Chooses the interval with more power above 4 kHz: an ideal ear for a steady shop."""
    powers = [measure.band_powers(clip)[6:].sum() for clip in (pair.first, pair.second)]
    return 1 if powers[0] > powers[1] else 2


def test_a_whole_run_over_real_clips_is_kept_beside_the_meters_limit(lab: Path, ada: Learner) -> None:
    """From first trial to the stored result; a machine listening to energy hears far below the background."""
    one = ThresholdRun(lab, ada, "idle shop", seed=2)
    places = []
    while not one.done:
        pair = one.trial()
        assert one.trial() is pair
        places.append(pair.hiss_in)
        assert one.answer(energy_listener(pair)) is (energy_listener(pair) == pair.hiss_in)
    assert len(places) == TRIALS and 10 < sum(p == 1 for p in places) < 30
    (kept,) = thresholds_of(lab, ada)
    assert kept == one.measured
    assert -30 < kept.threshold.threshold_db < -6
    assert kept.meter_same_db is not None and kept.meter_walk_db is not None
    assert kept.meter_walk_db < kept.meter_same_db
    with pytest.raises(LabError, match="over"):
        one.trial()


@pytest.mark.parametrize("name", backgrounds())
def test_the_hiss_is_where_the_trial_says_at_the_level_it_says(lab: Path, ada: Learner, name: str) -> None:
    """First trial, +6 dB, over every shop: the interval named holds the louder hiss band."""
    pair = ThresholdRun(lab, ada, name, seed=11).trial()
    clips = {1: pair.first, 2: pair.second}
    with_hiss, without = clips[pair.hiss_in], clips[3 - pair.hiss_in]
    assert measure.whitened_db([without], with_hiss) == pytest.approx(6.0, abs=5.0)
    assert len(with_hiss.samples) == len(without.samples)


def test_a_run_is_the_same_for_the_same_seed(lab: Path, ada: Learner) -> None:
    """So that a doubtful run can be looked at again."""
    first, second = (ThresholdRun(lab, ada, "radio", seed=5).trial() for _ in range(2))
    assert np.array_equal(first.first.samples, second.first.samples) and first.hiss_in == second.hiss_in


def test_a_recording_serves_as_background(tmp_path: Path, lab: Path, ada: Learner) -> None:
    """The shop's own noise; too short for an ordinary walk, the meter's limit there is left out and nothing fails."""
    path = tmp_path / "bay.flac"
    write_flac(path, Clip.of(np.random.default_rng(0).standard_normal(4 * 48_000) * 0.05, 48_000))
    one = ThresholdRun(lab, ada, str(path), seed=5)
    while not one.done:
        one.answer(energy_listener(one.trial()))
    assert one.measured is not None and one.measured.meter_same_db is not None and one.measured.meter_walk_db is None


@pytest.mark.parametrize("name", ["disco", "/nowhere/x.flac", ""])
def test_an_unknown_background_lists_the_known_ones(name: str) -> None:
    """One clear sentence."""
    with pytest.raises(LabError, match="idle shop"):
        background(name, 1)


def test_an_answer_is_one_or_two(lab: Path, ada: Learner) -> None:
    """A slipped key costs no trial."""
    one = ThresholdRun(lab, ada, "radio", seed=5)
    with pytest.raises(LabError, match="1 or 2"):
        one.answer(3)
    assert one.number == 1
