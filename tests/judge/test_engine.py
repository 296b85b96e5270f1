"""What other cylinders' rounds teach: it narrows blow-by, knows no order, and one odd round cannot turn it."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import msgspec
import numpy as np
import pytest
from evidence_made import heard, loud_at, made, silent

from listen.judge.engine import BETWEEN_CYLINDERS_DB, ODD, blow_by_learnt, engine_say
from listen.judge.learnt import ENGINE, learnt, with_learnt
from listen.judge.loudness import LEVELS_DB
from listen.judge.posterior import posterior
from listen.judge.result import Blown, EngineSay
from listen.judge.verdict import NAME_AT, chance
from listen.trade.points import PathId

RINGS_OR_NOT = {"intake": None, "tailpipe": None, "oil-filler": 2.0, "radiator": None}
"""A hiss at the filler and nowhere else, without a loss read: rings, or normal blow-by of a loud engine."""


def other(cylinder: int, level_db: float | None, clean: float = 0.9, zero_dbfs: float = 0.0) -> EngineSay:
    """Another cylinder's round that heard so much at the filler; ``None``: nothing."""
    nats = silent() if level_db is None else heard(level_db)
    kept = tuple(float(x) for x in np.maximum(nats - nats.max(), -12.0))
    mouth = Blown(point="oil-filler", clean=clean, nats=kept)
    return EngineSay(cylinder=cylinder, zero_dbfs=zero_dbfs, points=(mouth,))


def taught(evidence, others):
    """The evidence with what the others engine_say at the filler."""
    points = [
        replace(p, learnt=blow_by_learnt(others, "oil-filler", 0.0)) if p.point.id == "oil-filler" else p
        for p in evidence.points
    ]
    return replace(evidence, points=tuple(points))


def rings(others) -> float:
    return posterior(taught(made(RINGS_OR_NOT), others)).involved(PathId.RINGS)


def middle(others) -> float:
    """Median of blow-by by what the others engine_say alone."""
    density = blow_by_learnt(others, "oil-filler", 0.0)
    return float(np.interp(0.5, np.cumsum(density) / density.sum(), LEVELS_DB))


def test_other_cylinders_tell_rings_from_a_loud_engine():
    """The same hiss: rings where three cylinders were quieter by 12 dB, normal where they were as loud."""
    alone = posterior(made(RINGS_OR_NOT)).involved(PathId.RINGS)
    quieter = rings([other(n, -10.0) for n in (1, 3, 4)])
    alike = rings([other(n, 2.0) for n in (1, 3, 4)])
    assert alike < alone - 0.1 and quieter > alone + 0.2


def test_nothing_heard_at_other_fillers_is_an_upper_end():
    density = blow_by_learnt([other(n, None) for n in (1, 3)], "oil-filler", 0.0)
    quiet, loud = (float(np.interp(x, LEVELS_DB, density)) for x in (-25.0, 4.0))
    assert quiet > 0.95 and loud < 1.2 * ODD


def test_a_filler_with_a_leak_tells_no_lower_end():
    """Where the rings of another cylinder blow, its blow-by may be anything below that."""
    low, at = (
        float(np.interp(x, LEVELS_DB, blow_by_learnt([other(1, 12.0, 0.0)], "oil-filler", 0.0))) for x in (-20, 12)
    )
    assert low > 0.9 and at < low


def test_one_poisoned_round_moves_the_others_by_two_decibels_at_most():
    """Another gain, a knocked microphone: 40 dB off, beside three that agree."""
    good = [other(n, -8.0) for n in (1, 2, 3)]
    for odd in (other(4, 32.0), other(4, -28.0), other(4, -8.0, zero_dbfs=40.0)):
        assert abs(middle([*good, odd]) - middle(good)) < 2.0
        assert abs(rings([*good, odd]) - rings(good)) < 0.05


def test_a_poisoned_round_alone_is_worth_ten_to_one_at_most():
    density = blow_by_learnt([other(4, 32.0)], "oil-filler", 0.0)
    assert density.max() / density.min() <= 1.0 / ODD + 1e-9
    assert ODD == 0.1


def test_many_rounds_never_know_the_next_cylinder_better_than_it_differs():
    density = blow_by_learnt([other(n, -8.0, 1.0) for n in range(1, 9)], "oil-filler", 0.0) - ODD
    spread = np.sqrt((density * (LEVELS_DB - middle([other(1, -8.0)])) ** 2).sum() / density.sum())
    assert spread >= BETWEEN_CYLINDERS_DB == 2.5


def test_the_order_of_rounds_changes_no_digit():
    rounds = [other(1, -8.0), other(2, 3.0, 0.2), other(3, None)]
    figures = {
        tuple(blow_by_learnt(sorted(p, key=lambda s: s.cylinder), "oil-filler", 0.0)) for p in permutations(rounds)
    }
    assert len(figures) == 1
    first, *rest = (blow_by_learnt(p, "oil-filler", 0.0) for p in permutations(rounds))
    assert all(np.allclose(first, r, rtol=1e-12) for r in rest)


def test_levels_are_compared_as_the_microphone_heard_them():
    """A shop 10 dB louder: the same air stands 10 dB lower about it."""
    here = blow_by_learnt([other(1, -2.0, zero_dbfs=-50.0)], "oil-filler", -40.0)
    assert LEVELS_DB[here.argmax()] == -12.0


def test_a_round_says_the_same_whatever_it_was_taught():
    evidence = made(loud_at("intake"), loss_percent=30.0)
    after = taught(evidence, [other(1, 6.0)])
    assert engine_say(2, after, posterior(after.alone())) == engine_say(2, evidence, posterior(evidence))
    assert [p.point for p in engine_say(2, evidence, posterior(evidence)).points] == ["oil-filler"]


def test_what_a_round_says_is_clean_where_nothing_else_reaches_the_filler():
    sound, blown = (
        made(loud_at("oil-filler", -7.0), loss_percent=6.0),
        made(loud_at("oil-filler", 14.0), loss_percent=60.0, restrictor_mm=1.0, supply_kpa=550.0),
    )
    assert engine_say(1, sound, posterior(sound)).points[0].clean > 0.8
    assert engine_say(1, blown, posterior(blown)).points[0].clean < 0.4


def test_a_slip_says_nothing_and_a_strange_file_is_passed_over():
    evidence = made(loud_at("intake"))
    assert engine_say(2, evidence, posterior(evidence), silent=True).points == ()
    strange = EngineSay(cylinder=1, zero_dbfs=0.0, points=(Blown(point="oil-filler", clean=1.0, nats=(0.0, -1.0)),))
    assert blow_by_learnt([strange], "oil-filler", 0.0) is None
    with pytest.raises(msgspec.ValidationError):
        msgspec.json.decode(
            b'{"cylinder":1,"zero_dbfs":0,"points":[{"point":"a","clean":1,"nats":[1e9]}]}', type=EngineSay
        )


def test_one_line_says_what_was_learnt_from_which_cylinders():
    evidence = made(RINGS_OR_NOT)
    others = [other(n, -10.0) for n in (1, 3, 4)]
    after = taught(evidence, others)
    odds = with_learnt(after, posterior(after), posterior(evidence))
    (line,) = learnt(after, odds, others)
    assert line.startswith("Learnt from cylinders 1, 3 and 4: normal blow-by at the oil filler")
    assert "without that rings" in line
    assert learnt(evidence, posterior(evidence), ()) == ()


def test_a_verdict_that_needs_the_other_cylinders_says_so():
    evidence = made(RINGS_OR_NOT | {"oil-filler": 5.0}, loss_percent=30.0, restrictor_mm=1.0)
    after = taught(evidence, [other(n, -12.0) for n in (1, 3, 4, 5)])
    odds = with_learnt(after, posterior(after), posterior(evidence))
    assert odds.involved(PathId.RINGS) >= NAME_AT > odds.involved_without(ENGINE, PathId.RINGS)
    assert "what the other cylinders told of the engine" in chance(odds, PathId.RINGS).rests_on
