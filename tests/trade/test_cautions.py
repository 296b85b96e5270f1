"""Protects that no dangerous step stands without its caution, and that others always come first."""

from __future__ import annotations

from typing import get_args

import pytest

from listen.trade.cautions import Step, cautions, cautions_for, defer_to_others


def test_every_step_has_a_caution_and_identifiers_are_unique():
    for step in get_args(Step):
        assert cautions_for(step), step
    ids = [c.id for c in cautions()]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("before", "Ignition and fuel off"),
        ("before", "maker"),
        ("air-on", "Bar and ratchet OFF"),
        ("air-on", "140 kPa (20 psi)"),
        ("wet-test", "never above 15 ml"),
        ("radiator", "cold engine"),
        ("cranking", "belts and fan"),
        ("listening", "Never an ear"),
        ("hearing", "85 dBA"),
        ("running", "Carbon monoxide"),
        ("after", "torque"),
        ("stop-driving", "do not start"),
    ],
)
def test_the_usual_cautions_are_there(step, words):
    assert any(words in c.words for c in cautions_for(step))


def test_danger_to_people_is_marked_and_codes_maker_and_qualified_people_come_first():
    assert all(any(c.weight == "danger" for c in cautions_for(s)) for s in ("before", "air-on", "radiator", "running"))
    assert "Local codes" in defer_to_others()
    assert "maker" in defer_to_others()
    assert "qualified" in defer_to_others()
