"""Protects the checks: each outcome moves the odds as its row says, and no check is asked again once it was made."""

from __future__ import annotations

import pytest
from worked import case_of, engines

from listen.diagnosis import diagnose as diagnose_module
from listen.diagnosis import faults, told, weigh
from listen.diagnosis import next as next_module
from listen.diagnosis.case import CylinderCase, EngineCase, Made
from listen.diagnosis.diagnose import diagnose, findings_of
from listen.diagnosis.weigh import standings
from listen.trade.causes import causes
from listen.trade.checks import NOT_POSSIBLE, checks
from listen.trade.evidence import evidence_rows
from listen.trade.layout import layout

OUTCOMES = [(c, o) for c in checks() for o in c.outcomes if o.row(c.id) in evidence_rows()]
FACTS = ("turbo",)
"""What the engine must be so that every cause can be one."""


def engine(*made: Made) -> EngineCase:
    """A twin of which two readings are known that point nowhere."""
    return EngineCase(
        engine=layout("inline-2"),
        symptoms=FACTS,
        cylinders=(CylinderCase(cylinder=1, dry_kpa=850), CylinderCase(cylinder=2, dry_kpa=1000)),
        made=made,
    )


def scores(case: EngineCase) -> dict[str, float]:
    """Decibans of each cause on cylinder 1, or on the engine."""
    found = standings(case, findings_of(case))
    return {s.cause: s.score_db for s in found if s.cylinder in (None, 1)}


@pytest.mark.parametrize(("check", "outcome"), OUTCOMES, ids=[f"{c.id}:{o.id}" for c, o in OUTCOMES])
def test_an_outcome_moves_every_cause_it_names_and_does_not_without_its_row(check, outcome, monkeypatch):
    row = evidence_rows()[outcome.row(check.id)]
    case = engine(Made(check.id, outcome.id, 1 if check.at == "cylinder" else None))
    before, after = scores(engine()), scores(case)
    for cause in before:
        speaks = check.at == "engine" or causes()[cause].scope == "cylinder" or not row.needs_all
        db = row.weight_db(cause) if speaks else 0.0
        assert (after[cause] > before[cause]) == (db > 0), cause
        assert (after[cause] < before[cause]) == (db < 0), cause
    strongest = max(abs(row.weight_db(c)) for c in before)
    assert strongest >= 1
    left = {key: value for key, value in evidence_rows().items() if key != row.id}
    for module in (weigh, faults, told, next_module, diagnose_module):
        monkeypatch.setattr(module, "evidence_rows", lambda: left)
    assert scores(case) == before


@pytest.mark.parametrize("check", [c for c in checks() if c.outcomes], ids=lambda c: c.id)
def test_the_outcomes_of_a_check_tell_its_causes_apart(check):
    """Between the best and the worst outcome for one of its pair lie 3 dB at least; half of the checks do 10."""
    if check.id == "change-oil":
        return  # made for safety; tells nothing
    spread = []
    for cause in {c for pair in (check.pair, *check.also) for c in pair}:
        weights = [evidence_rows()[o.row(check.id)].weight_db(cause) for o in check.outcomes]
        spread.append(max(weights) - min(weights))
    assert max(spread) >= 3


@pytest.mark.parametrize("data", engines(), ids=lambda c: c["title"])
def test_no_check_is_asked_again_once_its_outcome_is_known(data):
    """Every check asked for is answered "not possible here", one after the other, until a person decides."""
    case = case_of(data)
    made = list(case.made)
    for _ in range(60):
        d = diagnose(
            EngineCase(**{f: getattr(case, f) for f in case.__struct_fields__ if f != "made"}, made=tuple(made))
        )
        asked = [(c, f.cylinders) for f in d.faults for c in f.checks if c.id != "decide"]
        again = [c.id for c, on in asked for m in made if m.check == c.id and (m.cylinder is None or m.cylinder in on)]
        assert not again
        if not asked:
            return
        check, on = asked[0]
        made.append(Made(check.id, NOT_POSSIBLE, on[0] if on and check.at == "cylinder" else None))
    raise AssertionError("checks never end")
