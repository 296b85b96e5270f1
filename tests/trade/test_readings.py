"""Protects that a doubtful entry is asked about, a good one is not, and a pressure is kept as entered."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.errors import ReadingError
from listen.trade.readings import ask_loss, ask_pressure, ask_restrictor, ask_wet
from listen.trade.units import KPA_PER, Pressure, in_unit, read_pressure, show, unit_named


def ids(questions):
    return [q.id for q in questions]


def test_pressure_is_kept_as_entered_with_its_si_value():
    p = read_pressure("120 psi")
    assert (p.value, p.unit, str(p)) == (120.0, "psi", "120 psi")
    assert p.kpa == pytest.approx(827.37, abs=0.01)
    assert read_pressure("8,3 bar").kpa == pytest.approx(830)
    assert read_pressure("830").unit == "kPa"
    assert show(827.37, "psi") == "120 psi"
    assert unit_named("PSI") == "psi"


@pytest.mark.parametrize("text", ["", "abc", "-3 bar", "12 furlongs", "1e400", "nan", "12 34"])
def test_what_is_no_pressure_is_said_so(text):
    with pytest.raises(ReadingError):
        read_pressure(text)


@given(st.floats(min_value=0.1, max_value=5000), st.sampled_from(sorted(KPA_PER)))
def test_units_there_and_back(kpa, unit):
    assert in_unit(kpa, unit).kpa == pytest.approx(kpa)


@pytest.mark.parametrize(
    ("entry", "meant"),
    [
        (Pressure(165, "kPa"), Pressure(165, "psi")),  # 165 psi is 1138 kPa: slip by 6.9
        (Pressure(1140, "psi"), Pressure(1140, "kPa")),
        (Pressure(11.4, "psi"), Pressure(11.4, "bar")),  # slip by 14.5
        (Pressure(165, "bar"), Pressure(165, "psi")),
        (Pressure(11.4, "kPa"), Pressure(11.4, "bar")),
    ],
)
def test_a_unit_slip_is_seen_against_the_other_cylinders_and_alone(entry, meant):
    for mates in ([1140, 1150, 1120], []):
        (question,) = ask_pressure(entry, "dry", mates_kpa=mates)
        assert question.id == "unit-slip"
        assert question.suggestion == str(meant)


def test_a_low_cylinder_is_not_called_a_slip_nor_is_a_good_one_asked_about():
    assert ask_pressure(Pressure(700, "kPa"), "dry", mates_kpa=[1140, 1150]) == ()
    assert ask_pressure(Pressure(165, "psi"), "dry", mates_kpa=[1140]) == ()
    assert ids(ask_pressure(Pressure(0, "bar"), "dry", mates_kpa=[1140])) == ["zero"]
    assert ids(ask_pressure(Pressure(150, "kPa"), "dry", mates_kpa=[1900])) != []


def test_wet_beside_dry():
    dry = Pressure(900, "kPa")
    assert ids(ask_wet(dry, Pressure(700, "kPa"))) == ["wet-below-dry"]
    assert ids(ask_wet(dry, Pressure(2000, "kPa"))) == ["wet-far-above"]
    assert ask_wet(dry, Pressure(880, "kPa")) == ()
    assert ask_wet(dry, Pressure(1100, "kPa")) == ()


@pytest.mark.parametrize(
    ("percent", "asked"),
    [(0, ["loss-zero"]), (0.27, ["loss-fraction"]), (27, [])],
)
def test_loss(percent, asked):
    assert ids(ask_loss(percent)) == asked


def test_rig():
    assert ids(ask_pressure(Pressure(80, "bar"), "supply")) == ["unit-slip"]
    assert ask_pressure(Pressure(80, "psi"), "supply") == ()
    assert ask_restrictor(1.0, 1.0) == ask_restrictor(1.016, 0.04) == ()
    (question,) = ask_restrictor(0.04, 0.04)
    assert (question.id, question.suggestion) == ("restrictor", "0.04 in")
    assert ask_restrictor(25.4, 1.0)[0].suggestion == "1 mm" and ask_restrictor(9.0, 9.0)[0].suggestion == ""


@pytest.mark.parametrize(("kpa", "doubted"), [(2850, False), (3900, False), (4100, True), (300, True)])
def test_a_diesel_reads_higher(kpa, doubted):
    assert bool(ask_pressure(Pressure(kpa, "kPa"), "dry", fuel="diesel")) is doubted


def test_usual_figures_are_told_in_the_unit_of_the_job():
    (question,) = ask_pressure(Pressure(2850, "kPa"), "dry", unit="bar")
    assert "usual 2.0 to 26.0 bar" in question.text
