"""Scores: a listener with known confusions is scored as such; confidence, intervals, weakest spots."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from listen.lab.training.book import Answer
from listen.lab.training.scoring import score, weakest

NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
CONFUSIONS: dict[str, dict[tuple[str, ...], float]] = {
    "intake-valve": {("intake-valve",): 0.9, ("exhaust-valve",): 0.1},
    "exhaust-valve": {("exhaust-valve",): 0.5, ("next-cylinder",): 0.4, (): 0.1},
    "none": {("none",): 0.7, ("rings",): 0.3},
}
SURE = 0.8


def answer(truth: tuple[str, ...], paths: tuple[str, ...], sure: float = SURE, **more: object) -> Answer:
    known = {"item": "01", "time": NOW.isoformat(), "seconds": 5.0, **more}
    return Answer(paths=paths, sure=sure if paths else 0.0, truth=truth, **known)  # type: ignore[arg-type]


def simulated_listener(rng: np.random.Generator, rounds: int) -> list[Answer]:
    """Someone who calls by the table above."""
    answers = []
    for _ in range(rounds):
        truth = str(rng.choice(list(CONFUSIONS)))
        calls = list(CONFUSIONS[truth])
        called = calls[int(rng.choice(len(calls), p=list(CONFUSIONS[truth].values())))]
        answers.append(answer((truth,), called, focus=(truth,)))
    return answers


def test_a_listener_with_known_confusions_is_scored_as_such() -> None:
    """Hit rates, confusions, false calls and calibration all come out as they were put in."""
    scored = score(simulated_listener(np.random.default_rng(1), 3000))
    for truth, calls in CONFUSIONS.items():
        row = scored.confusion[truth]
        total = sum(row.values())
        for called, share in calls.items():
            name = called[0] if called else "cannot-tell"
            assert row[name] / total == pytest.approx(share, abs=0.04), (truth, name)
        hit = scored.hit_rates[truth]
        assert hit.low95 <= calls[(truth,)] <= hit.high95
    assert scored.false_calls.value == pytest.approx(0.3, abs=0.04)
    assert scored.right.value == pytest.approx((0.9 + 0.5 + 0.7) / (1 + 0.9 + 1), abs=0.03)
    assert scored.overconfidence == pytest.approx(SURE - scored.right.value, abs=1e-9)
    assert weakest(scored)[0] in ("exhaust-valve",)


def test_brier_is_zero_for_the_knowing_and_a_quarter_for_the_shrugging() -> None:
    """Brier 1950."""
    knowing = [answer(("rings",), ("rings",), 1.0)] * 5 + [answer(("none",), ("rings",), 0.0)] * 5
    shrugging = [answer(("rings",), ("rings",), 0.5), answer(("none",), ("rings",), 0.5)]
    assert score(knowing).brier == 0.0
    assert score(shrugging).brier == 0.25


def test_calibration_sorts_answers_by_confidence() -> None:
    """Ten surely right and ten half-sure half-right fill two bins that lie on the diagonal."""
    answers = [answer(("rings",), ("rings",), 1.0)] * 10
    answers += [answer(("rings",), ("rings",), 0.5)] * 5 + [answer(("none",), ("rings",), 0.5)] * 5
    bins = score(answers).calibration
    assert [(b.mean_sure, b.rate.value, b.rate.of) for b in bins] == [(0.5, 0.5, 10), (1.0, 1.0, 10)]


def test_pairs_count_right_when_every_path_named_is_there() -> None:
    """Naming one of two is right; naming one that is not there is wrong; both rows of the table fill."""
    truth = ("intake-valve", "rings")
    scored = score(
        [answer(truth, ("rings",)), answer(truth, ("rings", "intake-valve")), answer(truth, ("rings", "fitting"))]
    )
    assert (scored.right.hits, scored.right.of) == (2, 3)
    assert (scored.hit_rates["rings"].hits, scored.hit_rates["intake-valve"].hits) == (3, 1)


def test_cannot_tell_is_neither_right_nor_wrong() -> None:
    """It costs coverage, not the hit rate of what was named."""
    scored = score([answer(("rings",), ()), answer(("rings",), ("rings",))])
    assert (scored.answered, scored.cannot_tell, scored.right.of) == (1, 1, 1)


def test_nothing_answered_is_no_score() -> None:
    """A new learner's page shows no made-up figures."""
    scored = score([])
    assert scored.brier is None and scored.overconfidence is None and scored.right.value is None
