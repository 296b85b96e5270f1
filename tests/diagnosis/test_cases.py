"""Protects the diagnosis against the trade: worked engines, and every rule of the tables needed by one of them."""

from __future__ import annotations

import tomllib
from collections import Counter, defaultdict
from collections.abc import Callable
from functools import cache

import pytest
from worked import HERE, case_of, engines, load, misses, wrong

from listen.diagnosis import diagnose as diagnose_module
from listen.diagnosis import faults, told, weigh
from listen.diagnosis import next as next_module
from listen.diagnosis.case import EngineCase
from listen.diagnosis.diagnose import diagnose, findings_of
from listen.diagnosis.model import Diagnosis
from listen.trade.causes import causes, contradictions, sources
from listen.trade.checks import evidence_rows, outcome_rows

FILES = sorted((HERE / "cases").glob("*.toml"))
SMALL = tomllib.loads((HERE / "rows.toml").read_text("utf-8"))["case"]
CASES = [*((p.stem, load(p)) for p in FILES), *((c["title"], c) for c in SMALL)]
OPEN = [c for c in engines() if not c.get("kept")]
KEPT = [c for c in engines() if c.get("kept")]
USE_EVIDENCE = (weigh, faults, told, next_module, diagnose_module)
"""Modules that look rows of evidence up."""
OF_OUTCOMES = {row.id for row in outcome_rows()}


def test_the_cases_are_there():
    assert len(FILES) + len(OPEN) + len(KEPT) >= 120
    assert len(KEPT) * 3 >= len(FILES) + len(OPEN)
    assert len(SMALL) >= 30


@pytest.mark.parametrize(("name", "data"), CASES, ids=[name for name, _ in CASES])
def test_a_worked_case_is_diagnosed_as_the_trade_would(name, data):
    assert data["expect"]
    assert data["sources"] and set(data["sources"]) <= set(sources())
    assert misses(data["expect"], diagnose(case_of(data))) == []


@pytest.mark.parametrize("data", OPEN, ids=[c["title"] for c in OPEN])
def test_a_worked_engine_is_diagnosed_as_a_mechanic_would(data):
    assert wrong(data, diagnose(case_of(data))) == {}


def test_engines_kept_back_from_every_adjusting_are_diagnosed_well_enough():
    """Right lead 85 in 100; no wrong lead above 90 %; no fault invented; "do not start" never false, never missing."""
    mistakes = Counter(kind for data in KEPT for kind in wrong(data, diagnose(case_of(data))))
    assert mistakes["lead"] <= 0.15 * len(KEPT), mistakes
    barred = ("sure", "invented", "false-stop", "no-stop", "harm", "absent")
    assert {kind: mistakes[kind] for kind in barred if mistakes[kind]} == {}


def test_every_cause_leads_somewhere_and_every_contradiction_is_shown_somewhere():
    leading = {data["expect"].get("cause") for _, data in CASES} | {c for data in OPEN for c in data["lead"]}
    assert set(causes()) <= leading
    shown = {c for _, data in CASES for c in data["expect"].get("contradictions", ())}
    shown |= {c.id for _, data in CASES for c in diagnose(case_of(data)).contradictions}
    assert {c.id for c in contradictions()} <= shown


@cache
def using_rows() -> dict[str, list[tuple[EngineCase, Callable[[Diagnosis], object]]]]:
    """Cases and what judges them, by each row they rest on."""
    cases = [(case_of(data), lambda d, e=data["expect"]: misses(e, d)) for _, data in CASES]
    cases += [(case_of(data), lambda d, e=data: wrong(e, d)) for data in OPEN]
    using = defaultdict(list)
    for case, judge in cases:
        for row in {f.id for f in findings_of(case)}:
            using[row].append((case, judge))
    return using


@pytest.mark.parametrize("row", [row for row in evidence_rows() if row not in OF_OUTCOMES])
def test_every_rule_is_needed_without_it_a_case_goes_wrong(row, monkeypatch):
    using = using_rows()[row]
    left = {key: value for key, value in evidence_rows().items() if key != row}
    for module in USE_EVIDENCE:
        monkeypatch.setattr(module, "evidence_rows", lambda: left)
    assert any(judge(diagnose(case)) for case, judge in using), f"no case needs {row}"
