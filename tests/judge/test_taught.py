"""Protects: what rounds of known cause taught moves the odds by as much as is stated, shows in the account, and asks
for traits that the judge still has."""

from dataclasses import replace

import numpy as np
import pytest
from evidence_made import FOUR, loud_at, made

from listen.judge.posterior import posterior
from listen.judge.taught import Trees, trees
from listen.judge.traits import traits
from listen.trade.points import PathId

CLEAR = made(loud_at("tailpipe"), loss_percent=33.0, restrictor_mm=1.0)
QUIET = made(dict.fromkeys(FOUR), loss_percent=5.0, restrictor_mm=1.0)


def always(**probability: float) -> Trees:
    """Trees that say the same of every round: what is left over is shared by the paths not named."""
    named = {PathId(name.replace("_", "-")): p for name, p in probability.items()}
    left = (1.0 - sum(named.values())) / (len(PathId) - len(named))
    start = np.log([named.get(p, left) for p in PathId])
    return Trees(
        ("loss",), start, np.zeros((8, 7), int), np.full((8, 7), np.inf), np.zeros((8, 7), bool), np.zeros((8, 8))
    )


def test_a_tree_is_walked_by_bounds_and_by_what_is_missing():
    """Of one tree: left at or below a bound, right above it; a trait that is missing goes where its question says."""
    asked = np.array([[0, 1, 1, 0, 0, 0, 0]] * 8)
    bound = np.array([[10.0, 1.0, 2.0, 5.0, np.inf, np.inf, np.inf]] * 8)
    missing = np.array([[True, False, False, False, False, False, False]] * 8)
    ends = np.zeros((8, 8))
    ends[0] = range(8)
    made_by_hand = Trees(("a", "b"), np.zeros(8), asked, bound, missing, ends)

    def end(a: float, b: float) -> int:
        odds = made_by_hand.odds({"a": a, "b": b})
        first, *rest = odds.values()
        return round(first - rest[0])

    nan = float("nan")
    assert end(5.0, 1.0) == 0
    assert end(5.1, 1.0) == 1
    assert end(10.0, 1.1) == 2
    assert end(10.1, 2.0) == 4
    assert end(10.1, 2.1) == 6
    assert end(nan, 2.1) == 6
    assert end(nan, nan) == 4


def test_odds_are_pooled_by_powers_of_the_model_and_of_what_was_taught():
    """The share to the power 0.35 times what was taught to 0.75, but weighed up or down ten times at most."""
    alone = posterior(QUIET)
    both = posterior(replace(QUIET, taught=always(none=0.6, rings=0.2)))
    told = dict.fromkeys(PathId, 0.2 / 6) | {PathId.NONE: 0.6, PathId.RINGS: 0.2}
    single = {p: alone.share(p) * np.clip(told[p] ** 0.75 / alone.share(p) ** 0.65, 0.1, 10.0) for p in alone.paths}
    # Pairs stand between their two paths, so that shares follow the rule to about a hundredth.
    for p in alone.paths:
        assert both.share(p) == pytest.approx(single[p] / sum(single.values()), abs=0.03)
    assert sum(both.share(p) for p in both.paths) == pytest.approx(1.0)


def test_what_was_taught_is_a_line_of_the_account_which_still_adds_up():
    odds = posterior(replace(CLEAR, taught=always(none=0.9)))
    for path, terms in odds.evidence_db.items():
        p = odds.involved(path)
        assert list(terms)[-1] == "taught"
        assert sum(terms.values()) == pytest.approx(10 * np.log10(p / (1 - p)), abs=1e-6)
    assert odds.evidence_db[PathId.EXHAUST_VALVE]["taught"] < -3.0
    assert odds.evidence_db[PathId.NONE]["taught"] > 3.0


def test_every_set_of_assumptions_and_every_reading_left_out_is_moved_alike():
    alone, both = (posterior(replace(CLEAR, taught=t)) for t in (None, always(exhaust_valve=0.05)))
    for assumed, p in alone.involved_under(PathId.EXHAUST_VALVE).items():
        assert both.involved_under(PathId.EXHAUST_VALVE)[assumed] < p
    assert both.involved_without("loss", PathId.EXHAUST_VALVE) < alone.involved_without("loss", PathId.EXHAUST_VALVE)


def test_a_path_that_the_judge_excludes_is_not_brought_back():
    """No path is weighed up by more than ten times, and one in ten thousand is the least share that is pooled."""
    share = {PathId.NONE: 1.0 - 1e-9, PathId.RINGS: 1e-9}
    moves = always(rings=0.9).moves({"loss": 5.0}, share)
    assert np.exp(moves[PathId.RINGS]) == pytest.approx(10.0)
    moves = always(rings=0.001, none=0.99).moves({"loss": 5.0}, share)
    assert np.exp(moves[PathId.RINGS]) == pytest.approx(0.001**0.75 / 1e-4**0.65)


@pytest.mark.parametrize("by", ["all", "others"])
def test_the_trees_that_are_shipped_ask_for_what_the_judge_has(by):
    """Traits renamed, added or dropped without teaching anew."""
    assert trees(by).traits == tuple(traits(CLEAR))


def test_the_trees_that_are_shipped_know_a_plain_case():
    """A loud tailpipe with a third lost, and a silent engine that loses nothing."""
    for evidence, path in ((CLEAR, PathId.EXHAUST_VALVE), (QUIET, PathId.NONE)):
        told = trees().odds(traits(evidence))
        assert max(told, key=told.get) == path
        assert np.exp(list(told.values())).sum() == pytest.approx(1.0)
