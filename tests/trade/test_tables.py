"""Protects the tables against each other: every name used in one exists in the other, and nothing is empty."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest

import listen.trade
from listen.trade.causes import causes, sources
from listen.trade.checks import check_alone, checks, checks_between
from listen.trade.doubts import blind_spots, contradictions
from listen.trade.evidence import caps, evidence_rows
from listen.trade.numbers import agreeing_share, expected_dry_kpa, numbers, thresholds
from listen.trade.plugs import plugs
from listen.trade.symptoms import symptoms

DERIVED = {
    "some-path-heard",
    "loss-and-compression-disagree",
    "ear-and-tool-disagree",
    "heard-neighbour-one-way",
}
"""Findings that carry no weight and serve contradictions only."""


def test_every_table_file_is_read_and_none_is_empty():
    found = {p.stem for p in Path(listen.trade.__file__).parent.glob("*.toml")}
    assert found == {
        "blindspots",
        "causes",
        "cautions",
        "checks",
        "contradictions",
        "evidence",
        "layouts",
        "numbers",
        "paths",
        "plugs",
        "points",
        "sources",
        "symptoms",
        "thresholds",
        "transfer",
    }
    for table in (causes(), checks(), contradictions(), evidence_rows(), numbers(), thresholds(), plugs(), symptoms()):
        assert len(table) >= 10


def test_evidence_names_known_causes_and_sources_with_sane_weights():
    for row in evidence_rows().values():
        named = set(row.for_db) | set(row.against_db)
        assert named <= set(causes()), row.id
        assert not set(row.for_db) & set(row.against_db), row.id
        assert all(0 < w <= 17 for w in (*row.for_db.values(), *row.against_db.values())), row.id
        assert row.for_db, row.id
        assert row.sources and set(row.sources) <= set(sources()), row.id


def test_identifiers_are_unique():
    import tomllib

    for path in Path(listen.trade.__file__).parent.glob("*.toml"):
        for block, rows in tomllib.loads(path.read_text("utf-8")).items():
            if isinstance(rows, list) and rows and isinstance(rows[0], dict) and "id" in rows[0]:
                ids = [r["id"] for r in rows]
                assert len(ids) == len(set(ids)), (path.name, block)


def test_every_source_is_used_and_every_threshold_and_number_has_one():
    used = {s for row in evidence_rows().values() for s in row.sources}
    for row in (*thresholds().values(), *numbers()):
        assert row.sources and set(row.sources) <= set(sources()), row.id
        used |= set(row.sources)
    assert len(used & set(sources())) >= 30


def test_priors_are_a_whole():
    assert sum(c.prior_percent for c in causes().values()) == pytest.approx(112)
    assert sum(c.prior_percent for c in causes().values() if c.id != "test-fault") == pytest.approx(100)


def test_checks_name_known_causes_and_every_cause_has_one_of_its_own():
    for check in checks():
        for pair in (check.pair, *check.also):
            assert set(pair) <= set(causes()) and len(set(pair)) == 2, check.id
        assert check.do and check.means and check.minutes > 0
    for cause in causes():
        assert check_alone(cause)
        assert any(checks_between(cause, other) for other in causes() if other != cause), cause


def test_checks_between_come_in_the_tables_order_and_skip_what_was_done():
    """The trade's order: oil, then the ear, then a camera, which not every shop has."""
    found = checks_between("rings-one", "exhaust-valve")
    assert [c.id for c in found] == ["wet-test-with-control", "listen-at-points", "camera-rings"]
    left = checks_between("exhaust-valve", "rings-one", frozenset({"wet", "listening"}))
    assert {c.id for c in left} == {"camera-rings"}


def test_most_pairs_of_likely_causes_have_a_check():
    likely = [c for c in causes() if causes()[c].prior_percent >= 4]
    pairs = list(combinations(likely, 2))
    covered = [p for p in pairs if checks_between(*p)]
    assert len(covered) / len(pairs) > 0.6


def test_plug_and_symptom_rows_have_their_evidence_and_nothing_else_claims_to_be_one():
    silent = {s.id for s in symptoms() if s.says_nothing}
    assert all(s.note for s in symptoms() if s.says_nothing)
    for s in symptoms():
        weighs = s.id in evidence_rows() or s.group == "test"
        assert weighs != (s.id in silent), s.id


def test_contradictions_name_findings_that_exist():
    known = set(evidence_rows()) | DERIVED
    for c in contradictions():
        assert c.needs and set(c.needs) <= known and set(c.unless) <= known, c.id
        assert c.then


def test_causes_name_tests_whose_blind_spots_are_known_and_never_order_a_repair():
    extra = {"cooling", "crankcase"}
    for cause in causes().values():
        assert set(cause.tests) <= set(blind_spots()) | extra, cause.id
        assert cause.not_meant and len(cause.owner) > 80
        for order in ("replace the", "you must", "needs a new", "has to be replaced"):
            assert order not in cause.owner.lower(), cause.id


def test_caps_and_expected_figures():
    assert caps().compression == caps().leak == 15
    assert caps().plugs_and_smoke == 12
    assert expected_dry_kpa(10) == 1375
    assert expected_dry_kpa(10, 1500) == pytest.approx(1141, abs=1)
    assert 850 < expected_dry_kpa(7.5) < 1020
    assert agreeing_share(30) == (0.80, 0.92)
