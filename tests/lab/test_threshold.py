"""The ear threshold: simulated listeners with known thresholds are measured; real trials hold what they say."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from listen.errors import LabError
from listen.lab.ear.adaptive import INTERVALS, LEVELS_DB, TRIALS, EarRun, Threshold, Trial, share_right
from listen.lab.ear.threshold import ThresholdRun, TrialClips, background, backgrounds, thresholds_of
from listen.lab.learners import Learner, create_learner
from tests.lab import measure


@pytest.fixture
def ada(lab: Path) -> Learner:
    return create_learner(lab, "Ada")


def run(hears: Callable[[float], bool]) -> Threshold:
    state = EarRun()
    while not state.done:
        level_db = state.level_db
        state = state.answered(level_db, hears(level_db))
    return state.result()


@cache  # two tests look at the same listeners
def runs(threshold_db: float, spread_db: float, lapse: float, count: int) -> list[Threshold]:
    rng = np.random.default_rng(7)
    return [
        run(lambda x: bool(rng.random() < float(share_right(x, threshold_db, spread_db, lapse)))) for _ in range(count)
    ]


@pytest.mark.parametrize("lapse", [0.0, 0.05])
@pytest.mark.parametrize("spread_db", [1.0, 1.3])
def test_forty_trials_find_a_threshold_to_one_decibel(spread_db: float, lapse: float) -> None:
    """Single runs scatter by at most 1.0 dB about the truth, also where one trial in twenty is lost to inattention."""
    found = [(t, at) for at in (-18.0, -9.0, 0.0) for t in runs(at, spread_db, lapse, 25)]
    errors = np.array([t.threshold_db - at for t, at in found])
    assert all(t.trials == 40 and not t.within for t, _ in found)
    assert abs(errors.mean()) < 0.5
    assert errors.std() < 1.0


def test_the_intervals_hold() -> None:
    """Over slopes and lapses as they come: 95 in 100, within what 300 runs can tell."""
    held = []
    for spread_db in (1.0, 1.3, 2.0, 2.5):
        for lapse in (0.0, 0.02, 0.05):
            held += [t.low95_db <= -9.0 <= t.high95_db for t in runs(-9.0, spread_db, lapse, 25)]
    assert 0.92 <= np.mean(held) <= 0.99


@pytest.mark.parametrize(
    ("answers", "within"),
    [("always the first", "above"), ("guesses", "above"), ("always right", "below"), ("never right", "above")],
)
def test_what_is_no_threshold_is_not_given_as_one(answers: str, within: str) -> None:
    """Someone who always says "first", or guesses, is not told from an ear that hears nothing of what was played."""
    rng = np.random.default_rng(3)
    share = {"always right": 1.0, "never right": 0.0}.get(answers, 1.0 / INTERVALS)
    times = 1 if share in (0.0, 1.0) else 40  # whose answers do not vary has one run only
    found = [run(lambda _: bool(rng.random() < share)) for _ in range(times)]
    assert [t.within for t in found] == [within] * times


def test_louder_is_never_harder_and_chance_is_one_in_four() -> None:
    """The psychometric function itself."""
    levels = np.linspace(-40, 40, 81)
    p = share_right(levels, -5.0, 1.3, 0.02)
    assert np.all(np.diff(p) >= 0) and p[0] == pytest.approx(0.25, abs=1e-6) and p[-1] == pytest.approx(0.985, abs=1e-6)


def test_more_trials_narrow_the_interval() -> None:
    """The interval is earned, not decorative."""
    few = [Trial(-6.0, True), Trial(-10.0, False)]
    assert _width(few * 10) < _width(few) < _width([])


def _width(trials: list[Trial]) -> float:
    run = EarRun()
    for trial in trials:
        run = run.answered(trial.level_db, trial.right)
    return run.result().high95_db - run.result().low95_db


def test_levels_close_in_on_the_threshold_and_stay_within_what_can_be_played() -> None:
    """Right answers lead down, wrong ones up; no trial is spent where nothing is learnt."""
    state, levels = EarRun(), []
    while not state.done:
        levels.append(state.level_db)
        state = state.answered(state.level_db, state.level_db > -12.0)
    assert levels[1] < levels[0] == 6.0
    assert np.abs(np.array(levels[20:]) + 12.0).max() <= 4.0
    assert min(levels) >= LEVELS_DB[0] and max(levels) <= LEVELS_DB[-1]


def energy_listener(trial: TrialClips) -> int:
    """Chooses the interval with more power above 4 kHz: an ideal ear for a steady shop."""
    return 1 + int(np.argmax([measure.band_powers(clip)[6:].sum() for clip in trial.clips]))


def test_a_whole_run_over_real_clips_is_kept_beside_the_meters_limit(lab: Path, ada: Learner) -> None:
    """From first trial to the stored result; a machine listening to energy hears far below the background."""
    one = ThresholdRun(lab, ada, "idle shop", seed=2)
    places = []
    while not one.done:
        pair = one.trial()
        assert one.trial() is pair
        places.append(pair.hiss_in)
        assert one.answer(energy_listener(pair)) is (energy_listener(pair) == pair.hiss_in)
    assert len(places) == TRIALS and all(3 <= places.count(i) <= 20 for i in range(1, INTERVALS + 1))
    (kept,) = thresholds_of(lab, ada)
    assert kept == one.measured
    assert -30 < kept.threshold.threshold_db < -6 and kept.headphones is None
    assert kept.meter_same_db is not None and kept.meter_walk_db is not None
    assert kept.meter_walk_db < kept.meter_same_db
    with pytest.raises(LabError, match="over"):
        one.trial()


@pytest.mark.parametrize("name", backgrounds())
def test_the_hiss_is_where_the_trial_says_at_the_level_it_says(lab: Path, ada: Learner, name: str) -> None:
    """First trial, +6 dB, over every shop: the interval named holds the louder hiss band."""
    pair = ThresholdRun(lab, ada, name, seed=11).trial()
    clips = list(pair.clips)
    with_hiss = clips.pop(pair.hiss_in - 1)
    assert measure.whitened_db(clips, with_hiss) == pytest.approx(6.0, abs=5.0)
    assert {len(c.samples) for c in pair.clips} == {len(with_hiss.samples)}
    assert len({c.samples.tobytes() for c in pair.clips}) == INTERVALS


def test_a_run_is_the_same_for_the_same_seed(lab: Path, ada: Learner) -> None:
    """So that a doubtful run can be looked at again."""
    first, second = (ThresholdRun(lab, ada, "radio", seed=5).trial() for _ in range(2))
    assert np.array_equal(first.clips[0].samples, second.clips[0].samples) and first.hiss_in == second.hiss_in


@pytest.mark.parametrize("name", ["disco", "/nowhere/x.flac", ""])
def test_an_unknown_background_lists_the_known_ones(name: str) -> None:
    """One clear sentence."""
    with pytest.raises(LabError, match="idle shop"):
        background(name, 1)


def test_an_answer_is_one_of_the_four(lab: Path, ada: Learner) -> None:
    """A slipped key costs no trial."""
    one = ThresholdRun(lab, ada, "radio", seed=5)
    with pytest.raises(LabError, match="1 to 4"):
        one.answer(5)
    assert one.number == 1
