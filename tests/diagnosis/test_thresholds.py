"""From which figure the diagnosis says what it says, with the numbers written out."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from worked import case_of, engines

from listen.diagnosis import next as next_module
from listen.diagnosis.case import CylinderCase, EngineCase
from listen.diagnosis.compression import control_of
from listen.diagnosis.diagnose import _kind, cylinder_standing, diagnose
from listen.diagnosis.ear import filler_on_all, heard_share
from listen.diagnosis.faults import Lead
from listen.diagnosis.told import sure
from listen.diagnosis.weigh import Standing
from listen.trade.engine import layout
from listen.trade.numbers import threshold


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.95, "very likely"),
        (0.949, "likely"),
        (0.80, "likely"),
        (0.799, "more likely than not"),
        (0.50, "more likely than not"),
        (0.499, "possible"),
        (0.30, "possible"),
        (0.299, "one of several"),
    ],
)
def test_a_probability_has_its_words(probability: float, words: str) -> None:
    assert sure(probability) == words


def fault(probability: float, rivals: int = 0) -> Any:
    named = tuple(SimpleNamespace(cause=str(i)) for i in range(rivals))
    return SimpleNamespace(cause="rings", words="rings", cylinders=(2,), probability=probability, rivals=named)


def test_a_cause_leads_from_30_percent_and_among_three_rivals_from_50() -> None:
    assert [_kind([fault(p)]) for p in (0.299, 0.301)] == ["open", "one-cause"]
    assert [_kind([fault(0.49, rivals)]) for rivals in (2, 3)] == ["two-causes", "open"]
    assert _kind([fault(0.51, 3)]) == "two-causes"


def test_a_cylinder_with_good_figures_is_at_fault_from_50_percent() -> None:
    case = EngineCase(engine=layout("inline-4"))
    assert [cylinder_standing(case, 2, [fault(p)]).word for p in (0.499, 0.501)] == ["suspect", "fault"]


def test_what_only_an_ear_heard_counts_half_and_half_again_where_the_readings_changed_since() -> None:
    heard = CylinderCase(cylinder=1, by_ear=("rings",))
    loud = CylinderCase(cylinder=1, paths={"rings": 0.99})
    before = {"heard_before": "before the oil"}
    assert [heard_share(c, "rings") for c in (loud, heard)] == [1.0, 0.5]
    assert heard_share(CylinderCase(cylinder=1, paths={"rings": 0.99}, **before), "rings") == 0.5
    assert heard_share(CylinderCase(cylinder=1, by_ear=("rings",), **before), "rings") == 0.25


def test_three_cylinders_are_listened_to_before_all_are_alike_on_a_twin_both() -> None:
    def alike(name: str, heard: int) -> bool:
        cylinders = tuple(CylinderCase(cylinder=n, paths={"rings": 0.99}) for n in range(1, heard + 1))
        return filler_on_all(EngineCase(engine=layout(name), cylinders=cylinders))

    assert [alike("inline-6", n) for n in (2, 3)] == [False, True]
    assert [alike("inline-2", n) for n in (1, 2)] == [False, True]


def test_a_good_cylinder_below_one_kpa_is_no_control() -> None:
    """No gauge shows less; a rise over nothing has no ratio."""

    def control(dry_kpa: float) -> int | None:
        return control_of(EngineCase(engine=layout("inline-2")), {1: (dry_kpa, dry_kpa)})

    assert control(0.9) is None
    assert control(1.1) is not None


@pytest.mark.parametrize(("share", "apart"), [(0.79, True), (0.81, False)])
def test_a_cause_that_leads_with_80_percent_is_confirmed_not_told_from_what_is_far_behind(
    share: float, apart: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(next_module, "spoken", lambda _: True)
    behind = 0.5 * (threshold("rivals_db") + threshold("strong_db"))
    top, other = (Standing(c, 1, db, (), 0.0) for c, db in (("rings", behind), ("head-gasket", 0.0)))
    lead = Lead(top, (1,), (top, other), (share, 1.0 - share))
    assert next_module._runners_up(lead) == ([other] if apart else [])


def test_six_checks_are_offered_at_once_at_most() -> None:
    (case,) = (e for e in engines() if e["title"] == "One cylinder at 300 kPa, nothing else measured")
    assert max(len(f.checks) for f in diagnose(case_of(case)).faults) == 6
