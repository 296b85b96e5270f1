"""Protects the tables against each other: every name used in one exists in the other, and nothing is empty."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest

import listen.trade
from listen.trade.causes import blind_spots, causes, contradictions, sources
from listen.trade.cautions import cautions
from listen.trade.checks import caps, checks, checks_alone, checks_between, evidence_rows, outcome_rows, safe_order
from listen.trade.engine import layout_rows
from listen.trade.facts import GROUP_WORDS, core, facts, moves, plugs
from listen.trade.numbers import agreeing_share, expected_dry_kpa, numbers, thresholds

DERIVED = {
    "below-mates-but-tight",
    "person-and-tool-disagree",
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
        "details",
        "evidence",
        "facts",
        "layouts",
        "numbers",
        "paths",
        "plugs",
        "points",
        "sources",
        "steps",
        "thresholds",
        "transfer",
        "ways",
    }
    for table in (causes(), checks(), contradictions(), evidence_rows(), numbers(), thresholds(), plugs(), facts()):
        assert len(table) >= 10


def test_evidence_names_known_causes_and_sources_with_sane_weights():
    for row in evidence_rows().values():
        named = set(row.for_db) | set(row.against_db)
        assert named <= set(causes()), row.id
        assert not set(row.for_db) & set(row.against_db), row.id
        assert all(0 < w <= 18 for w in (*row.for_db.values(), *row.against_db.values())), row.id
        assert row.for_db or row.against_db, row.id
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
    tables = (causes(), facts(), blind_spots())
    told = (*thresholds().values(), *numbers(), *checks(), *plugs(), *contradictions(), *cautions(), *layout_rows())
    for row in (*told, *(row for table in tables for row in table.values())):
        assert row.sources and set(row.sources) <= set(sources()), row.id
        used |= set(row.sources)
    assert used == set(sources()) - {"SHOP"}, "a source that nothing cites goes"


def test_priors_are_a_whole():
    """Over what any engine may have; a part it need not have (needs) brings a prior of its own."""
    assert sum(c.prior_percent for c in causes().values() if not c.needs) == pytest.approx(112)
    assert sum(c.prior_percent for c in causes().values() if c.id != "test-fault" and not c.needs) == pytest.approx(100)


def test_checks_name_known_causes_and_every_cause_has_some_of_its_own():
    for check in checks():
        for pair in (check.pair, *check.also):
            assert set(pair) <= set(causes()) and len(set(pair)) == 2, check.id
        assert check.do and check.minutes > 0
        assert check.means or check.id == "decide"
        known = set(evidence_rows()) | DERIVED | set(facts())
        assert {*check.only_with, *check.not_with} <= known, check.id
    for cause in causes():
        found = frozenset({"turbo"})
        assert checks_alone(cause, found=found), cause
        assert any(checks_between(cause, other) for other in causes() if other != cause), cause


def test_every_outcome_of_a_check_says_something_and_weighs_what_its_row_says():
    own = {row.id for row in outcome_rows()}
    for check in checks():
        assert len(check.outcomes) >= 2 or check.id in ("decide", "change-oil"), check.id
        for o in check.outcomes:
            assert o.words and o.says
            assert not (o.finding and (o.for_db or o.against_db)), (check.id, o.id)
            if check.id != "change-oil":
                assert o.row(check.id) in evidence_rows(), (check.id, o.id)
            assert set(o.for_db) | set(o.against_db) <= set(causes()), (check.id, o.id)
    assert own <= set(evidence_rows())


def test_checks_between_come_in_the_tables_order_and_skip_what_was_done():
    """The trade's order: oil, then the ear, then a camera, which not every shop has."""
    found = checks_between("rings-one", "exhaust-valve")
    assert [c.id for c in found] == ["wet-test-with-control", "listen-at-points", "camera-cylinder"]
    left = checks_between("exhaust-valve", "rings-one", frozenset({"wet", "listening"}))
    assert {c.id for c in left} == {"camera-cylinder"}
    assert checks_between("exhaust-valve", "rings-one", frozenset({"wet", "listening", "camera-cylinder"})) == ()


@pytest.mark.parametrize(
    ("wanted", "found", "first"),
    [
        ("wet-test-with-control", "liquid-lock", "liquid-first"),
        ("throttle-and-crank", "emulsion", "liquid-first"),
        ("smoke-diary", "overheating", "liquid-first"),
        ("paper-and-swap", "fuel-in-oil", "change-oil"),
        ("wet-all", "belt-broke", "timing-marks"),
        ("second-gauge", "all-dead", "timing-marks"),
        ("camera-cylinder", "liquid-lock", "camera-cylinder"),
    ],
)
def test_no_cranking_before_liquid_is_excluded_and_no_running_on_thinned_oil(wanted, found, first):
    check = next(c for c in checks() if c.id == wanted)
    assert [c.id for c in safe_order([check], frozenset(), frozenset({found}))] == [first]
    assert [c.id for c in safe_order([check], frozenset({first}), frozenset({found}))] == [wanted]


def test_most_pairs_of_likely_causes_have_a_check():
    likely = [c for c in causes() if causes()[c].prior_percent >= 4]
    pairs = list(combinations(likely, 2))
    covered = [p for p in pairs if checks_between(*p)]
    assert len(covered) / len(pairs) > 0.6


def test_a_fact_weighs_or_says_why_not():
    for f in facts().values():
        assert f.group in GROUP_WORDS and f.words
        if f.answer == "figure":
            assert f.unit and f.least < f.most, f.id
            assert all(b.finding in evidence_rows() for b in f.bands), f.id
        if f.says_nothing:
            assert f.note and f.id not in evidence_rows(), f.id
        elif f.symptom and f.group != "test":
            assert moves(f) or any(f.id in (*c.only_with, *c.not_with) for c in checks()), f.id
    assert {"coolant-loss", "smoke-blue-first-start", "misfire-idle"} <= core()


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
