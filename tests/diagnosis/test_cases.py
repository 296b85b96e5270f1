"""Protects the diagnosis against the trade: worked engine cases, and every rule of the tables needed by one of them."""

from __future__ import annotations

import tomllib
from collections import Counter

import pytest
from worked import HERE, case_of, load, misses

from listen.diagnosis import diagnose as diagnose_module
from listen.diagnosis import faults, weigh
from listen.diagnosis.diagnose import diagnose, findings_of
from listen.trade.causes import causes, sources
from listen.trade.doubts import contradictions
from listen.trade.evidence import evidence_rows

FILES = sorted((HERE / "cases").glob("*.toml"))
SMALL = tomllib.loads((HERE / "rows.toml").read_text("utf-8"))["case"]
CASES = [*((p.stem, load(p)) for p in FILES), *((c["title"], c) for c in SMALL)]


def test_the_cases_are_there():
    assert len(FILES) >= 24
    assert len(SMALL) >= 30


@pytest.mark.parametrize(("name", "data"), CASES, ids=[name for name, _ in CASES])
def test_a_worked_case_is_diagnosed_as_the_trade_would(name, data):
    assert data["expect"]
    assert data["sources"] and set(data["sources"]) <= set(sources())
    assert misses(data["expect"], diagnose(case_of(data))) == []


def test_every_cause_leads_somewhere_and_every_contradiction_is_shown_somewhere():
    leading = Counter(data["expect"].get("cause") for _, data in CASES)
    assert set(causes()) <= set(leading)
    shown = {c for _, data in CASES for c in data["expect"].get("contradictions", ())}
    shown |= {c.id for _, data in CASES for c in diagnose(case_of(data)).contradictions}
    assert {c.id for c in contradictions()} <= shown


@pytest.mark.parametrize("row", list(evidence_rows()))
def test_every_rule_is_needed_without_it_a_case_goes_wrong(row, monkeypatch):
    cases = [(data["expect"], case_of(data)) for _, data in CASES]
    using = [(expect, case) for expect, case in cases if any(f.id == row for f in findings_of(case))]
    left = {key: value for key, value in evidence_rows().items() if key != row}
    for module in (weigh, faults, diagnose_module):
        monkeypatch.setattr(module, "evidence_rows", lambda: left)
    assert any(misses(expect, diagnose(case)) for expect, case in using), f"no case needs {row}"
