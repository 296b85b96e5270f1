"""Pressures inside sentences are told in the unit of the job."""

from __future__ import annotations

import pytest

from listen.trade.cautions import cautions, told_in
from listen.trade.units import said_in


@pytest.mark.parametrize(
    ("text", "psi", "bar"),
    [
        ("about 140 kPa (20 psi) first", "about 20 psi first", "about 1.4 bar first"),
        ("690 kPa on an 86 mm bore", "100 psi on an 86 mm bore", "6.9 bar on an 86 mm bore"),
        ("900 kPa, 73 % of 1240 kPa", "131 psi, 73 % of 180 psi", "9.0 bar, 73 % of 12.4 bar"),
        ("cylinder 5: 900 dry, 930 kPa wet", "cylinder 5: 131 dry, 135 psi wet", "cylinder 5: 9.0 dry, 9.3 bar wet"),
        ("33, 32 % at 345, 552, 690 kPa", "33, 32 % at 50, 80, 100 psi", "33, 32 % at 3.5, 5.5, 6.9 bar"),
        ("850 > 800 > 700 kPa", "123 > 116 > 102 psi", "8.5 > 8.0 > 7.0 bar"),
        ("1,000 to 1,100 kPa", "145 to 160 psi", "10.0 to 11.0 bar"),
        ("above 1 kPa at idle", "above 0.15 psi at idle", "above 0.01 bar at idle"),
    ],
)
def test_a_sentence_in_another_unit(text: str, psi: str, bar: str) -> None:
    assert (said_in(text, "psi"), said_in(text, "bar"), said_in(text, "kPa")) == (psi, bar, text)


def test_no_caution_of_a_psi_job_speaks_of_kpa() -> None:
    told = " ".join(c.words for c in told_in("psi", cautions()))
    assert "100 psi on an 86 mm bore" in told and "kPa" not in told
