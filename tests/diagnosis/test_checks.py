"""Protects the checks: each outcome moves the odds as its row says, and no check is asked again once it was made."""

from __future__ import annotations

import tomllib

import msgspec
import pytest
from worked import HERE, case_of, cylinder, engines

from listen.diagnosis import diagnose as diagnose_module
from listen.diagnosis import faults, told, weigh
from listen.diagnosis import next as next_module
from listen.diagnosis.case import DRY, LOSS, EngineCase, Made
from listen.diagnosis.diagnose import diagnose, findings_of
from listen.diagnosis.weigh import standings
from listen.trade.causes import causes
from listen.trade.checks import NOT_POSSIBLE, checks, evidence_rows
from listen.trade.engine import layout

OUTCOMES = [(c, o) for c in checks() for o in c.outcomes if o.row(c.id) in evidence_rows()]
STRANGERS = tomllib.loads((HERE / "strangers.toml").read_text("utf-8"))["case"]
ROWS = tomllib.loads((HERE / "rows.toml").read_text("utf-8"))["case"]
FACTS = ("turbo",)
"""What the engine must be so that every cause can be one."""


def engine(*made: Made) -> EngineCase:
    """A twin of which two readings are known that point nowhere."""
    return EngineCase(
        engine=layout("inline-2"),
        symptoms=FACTS,
        cylinders=(cylinder(1, dry=850), cylinder(2, dry=1000)),
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


LIQUID = {"liquid-lock", "frozen", "emulsion", "plug-steam-clean", "overheating"}
COOLANT = {"bubbles", "coolant-loss", "smoke-white-warm", "plug-crust", "gasket-again", "oil-level-rising"}


@pytest.mark.parametrize("data", [*engines(), *STRANGERS], ids=lambda c: c["title"])
def test_no_check_does_harm(data):
    """Liquid and timing before cranking, thinned oil before running, no oil into a diesel, no test where it stands."""
    case = case_of(data)
    found = {f.id for f in findings_of(case)}
    made = {m.check for m in case.made}
    turned = bool(case.read(DRY))
    for check in (c for f in diagnose(case).faults for c in f.checks):
        moves = check.turns in ("cranks", "runs")
        assert not (moves and found & LIQUID and "liquid-first" not in made), check.id
        assert not (moves and found & COOLANT and not turned and "liquid-first" not in made), check.id
        assert not (moves and found & {"belt-broke", "timing-disturbed"} and "timing-marks" not in made), check.id
        assert not (check.turns == "runs" and found & {"fuel-in-oil", "flooded"} and "change-oil" not in made), check.id
        assert not (check.id.startswith("wet") and case.engine.fuel == "diesel")
        assert not (check.id == "loss-on-all" and len(case.read(LOSS)) == len(case.engine.cylinders))
        assert not (check.id == "loss-on-all" and len(case.engine.cylinders) == 1)


def test_every_check_is_asked_for_by_some_engine():
    """None stands in the table that no user can reach, whatever was made before."""
    left = {c.id for c in checks()}
    for data in [*engines(), *STRANGERS, *ROWS]:
        left -= {c.id for f in _faults(case_of(data)) for c in f.checks}
        if not left:
            break
    assert left == set()


def _faults(case):
    """The faults now, and once the first check asked for could not be made."""
    made = list(case.made)
    for _ in range(12):
        now = msgspec.structs.replace(case, made=tuple(made))
        d = diagnose(now)
        yield from d.faults
        first = d.faults[0].next_check if d.faults else None
        if first is None or first.id == "decide":
            return
        made.append(Made(first.id, NOT_POSSIBLE))


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
