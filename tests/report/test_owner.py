"""Protects the owner: the caution to stop stands wherever it must, nothing is unlikely against its own sign."""

from __future__ import annotations

from listen.diagnosis.case import CylinderCase, EngineCase
from listen.diagnosis.diagnose import diagnose
from listen.report.owner import owner_part
from listen.trade.layout import layout


def engine(**more):
    readings = ((1, 1200, 7), (2, 1195, 8), (3, 1190, 9), (4, 1210, 8))
    return EngineCase(
        engine=layout("inline-4"),
        expected_kpa=1250,
        cylinders=tuple(CylinderCase(cylinder=n, dry_kpa=kpa, loss_percent=loss) for n, kpa, loss in readings),
        **more,
    )


def test_water_in_the_oil_stops_the_engine_whatever_leads():
    page = owner_part(diagnose(engine(symptoms=("emulsion",))), "an engine")
    assert "do not start" in page.waiting
    assert "crack in head or block" not in page.ruled_out


def test_without_such_a_sign_nobody_is_frightened():
    page = owner_part(diagnose(engine(symptoms=("misfire-load",))), "an engine")
    assert "do not start" not in page.waiting
    assert not any("not oil" in " ".join(f) and "The black deposit" in " ".join(f) for f in page.found)


def test_a_check_tells_its_danger_before_what_to_do():
    d = diagnose(engine(symptoms=("emulsion",)))
    (line, *_) = owner_part(d, "an engine").next
    check = d.faults[0].next_check
    assert check.risk and line.index(f"Mind: {check.risk}") < line.index(check.do)
