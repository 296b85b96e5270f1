"""What a verdict says of odds that are given: in which order, with which figure, and on what it says that it rests."""

from typing import Any

import numpy as np
import pytest

from listen.judge.assumptions import SETS, Assumptions
from listen.judge.hypotheses import Hypothesis
from listen.judge.posterior import Posterior
from listen.judge.result import Verdict
from listen.judge.verdict import verdict
from listen.trade.points import PathId

USUAL, CROSS_TALK = SETS[:2]
NONE, INTAKE, EXHAUST, RINGS = PathId.NONE, PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE, PathId.RINGS


def said(
    usual: dict[Any, float],
    under: dict[Assumptions, dict[Any, float]] | None = None,
    without: dict[str, dict[Any, float]] | None = None,
    may_name: frozenset[PathId] = frozenset(PathId),
    single: bool = False,
) -> Verdict:
    """The verdict where sets of causes (a path, or a pair) have these probabilities."""
    sets = tuple(Hypothesis(s if isinstance(s, tuple) else (s,)) for s in usual)

    def of(p: dict[Any, float]) -> np.ndarray:
        return np.array([p[s] for s in usual])

    scene: Any = None
    odds = Posterior(
        sets,
        of(usual),
        {USUAL: of(usual)} | {a: of(p) for a, p in (under or {}).items()},
        {name: of(p) for name, p in (without or {}).items()},
        {},
        scene,
        0.0,
    )
    return verdict(odds, may_name, "", "Record more.", single=single)


def test_what_cannot_be_told_lists_the_likeliest_first_and_nothing_below_a_tenth():
    told = said({NONE: 0.09, RINGS: 0.01, EXHAUST: 0.35, INTAKE: 0.55})
    assert (told.kind, told.paths) == ("unclear", ("intake-valve", "exhaust-valve"))
    assert told.text.index("intake valve") < told.text.index("exhaust valve")
    assert "sound" not in told.text and "rings" not in told.text
    assert told.probability == pytest.approx(0.55)
    assert "sound" in said({NONE: 0.11, EXHAUST: 0.34, INTAKE: 0.55}).text


def test_one_figure_where_no_assumption_takes_anything_off_and_two_where_one_does():
    alone = said({INTAKE: 0.95, NONE: 0.05})
    assert "(95 % sure)" in alone.text and alone.rests_on == () and "rests" not in alone.text
    leans = said({INTAKE: 0.95, NONE: 0.05}, {CROSS_TALK: {INTAKE: 0.91, NONE: 0.09}})
    assert "91" in leans.text and "95" in leans.text
    assert leans.text.endswith(f" This rests on that {CROSS_TALK.words}.")
    # Three hundredths less is what everything rests on a little; it is not said.
    assert said({INTAKE: 0.95, NONE: 0.05}, {CROSS_TALK: {INTAKE: 0.925, NONE: 0.075}}).rests_on == ()


def test_it_rests_on_the_readings_without_which_it_would_not_be_named():
    p = {INTAKE: 0.95, NONE: 0.05}
    less, enough = {INTAKE: 0.89, NONE: 0.11}, {INTAKE: 0.91, NONE: 0.09}
    told = said(p, without={"loss": less, "compression": enough, "shut": less})
    assert told.rests_on == ("the loss read",)
    assert told.text.endswith(" This rests on the loss read.")


def test_of_two_that_are_named_the_figure_is_that_of_the_less_sure():
    told = said({(INTAKE, RINGS): 0.91, INTAKE: 0.06, NONE: 0.03})
    assert (told.kind, told.paths) == ("several", ("intake-valve", "rings"))
    assert told.probability == pytest.approx(0.91)
    assert "(91 % sure)" in told.text


def test_a_leak_is_said_before_a_sound_cylinder_and_from_nine_in_ten():
    assert said({INTAKE: 0.901, NONE: 0.099}).kind == "path"
    assert said({INTAKE: 0.899, NONE: 0.101}).kind == "unclear"
    assert said({NONE: 0.901, INTAKE: 0.099}).kind == "sound"
    assert said({INTAKE: 0.95, NONE: 0.05}, {CROSS_TALK: {INTAKE: 0.899, NONE: 0.101}}).kind == "unclear"


def test_what_only_an_assumption_keeps_from_being_said_names_it_and_what_to_do():
    told = said({INTAKE: 0.95, NONE: 0.05}, {CROSS_TALK: {INTAKE: 0.85, NONE: 0.15}})
    assert CROSS_TALK.words in told.text
    assert told.next == f"{CROSS_TALK.instead[0].upper()}{CROSS_TALK.instead[1:]}."
    for lacking in (a for a in SETS if "cylinder" in a.instead):
        asked = said({INTAKE: 0.95, NONE: 0.05}, {lacking: {INTAKE: 0.85, NONE: 0.15}}, single=True).next
        assert asked == "Repeat the whole walk.", "a single cylinder has no other"


def test_a_path_that_leads_because_nobody_listened_for_it_is_asked_for_and_no_assumption_is_blamed():
    told = said({INTAKE: 0.95, NONE: 0.05}, may_name=frozenset({EXHAUST}))
    assert (told.kind, told.next) == ("unclear", "Record more.")
    assert told.text.startswith("Cannot tell: ") and "only hold" not in told.text
