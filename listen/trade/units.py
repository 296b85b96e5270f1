"""Pressures as they are entered (kPa, psi, bar) together with their value in kPa."""

import re
from typing import Literal

import msgspec

from listen.errors import ReadingError

Unit = Literal["kPa", "psi", "bar"]

KPA_PER: dict[Unit, float] = {"kPa": 1.0, "psi": 6.894757293168361, "bar": 100.0}
"""kPa in one unit (NIST SP 811, appendix B)."""

_SPELLED: dict[str, Unit] = {"kpa": "kPa", "psi": "psi", "psig": "psi", "bar": "bar", "lb": "psi", "lbs": "psi"}
_ENTRY = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*([A-Za-z]*)\s*")

_FIGURE = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")
# Figures that share the unit behind the last of them, as the tables have it: "550, 690 or 830 kPa", "80 to 90 kPa".
_AND = r"(?:, | to | and | or | > | dry, )"
_IN_KPA = re.compile(rf"((?:{_FIGURE.pattern}{_AND})*{_FIGURE.pattern}) kPa(?: \(\d+ psi\))?")
MOST_KPA = 10_000.0
"""More than any gauge here shows: a diesel's compression reads up to 4,000 (shop rule), so twice that and some."""
COARSE = 0.1
"""Share by which a gauge's step may change a figure told in a sentence."""


class Pressure(msgspec.Struct, frozen=True):
    """A pressure as entered; gauge pressure, above the outside air."""

    value: float
    unit: Unit

    @property
    def kpa(self) -> float:
        return self.value * KPA_PER[self.unit]

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit}"


def read_pressure(text: str, unit: Unit = "kPa") -> Pressure:
    """Read an entry such as ``120 psi``, ``8,3 bar`` or ``830`` (then in ``unit``).

    Raises ReadingError: not a number with a known unit, below zero, or more than any gauge shows."""
    m = _ENTRY.fullmatch(text)
    spelled = _SPELLED.get(m[2].lower()) if m and m[2] else unit
    if m is None or spelled is None:
        raise ReadingError(
            f"{text.strip()!r} is not a pressure; enter a number with kPa, psi or bar, for example 120 psi"
        )
    value = float(m[1].replace(",", "."))
    if value < 0:
        raise ReadingError(f"{text.strip()!r} is below zero; a gauge shows 0 or more, check the entry")
    if value * KPA_PER[spelled] > MOST_KPA:
        raise ReadingError(f"{text.strip()!r} is more than any gauge shows ({show(MOST_KPA, spelled)}); type it again")
    return Pressure(value, spelled)


def in_unit(kpa: float, unit: Unit) -> Pressure:
    return Pressure(kpa / KPA_PER[unit], unit)


def show(kpa: float, unit: Unit = "kPa") -> str:
    """A value in kPa as text in ``unit``, in steps a gauge can show (1 kPa, 1 psi, 0.1 bar)."""
    return f"{in_unit(kpa, unit).value:.{digits(unit)}f} {unit}"


def said_in(text: str, unit: Unit) -> str:
    """A sentence with every pressure written in kPa told in ``unit``; a figure beside it in brackets goes.

    Whole kPa are finer than a psi or a tenth of a bar: nothing is lost on the way through words.
    """

    def figure(m: re.Match[str]) -> str:
        """In steps a gauge can show; finer where those would change it."""
        value, places = float(m[0].replace(",", "")) / KPA_PER[unit], digits(unit)
        return f"{value:.{places}f}" if abs(round(value, places) - value) <= COARSE * value else f"{value:.2g}"

    return text if unit == "kPa" else _IN_KPA.sub(lambda m: f"{_FIGURE.sub(figure, m[1])} {unit}", text)


def digits(unit: Unit) -> int:
    """Decimals that a gauge in a unit shows."""
    return 1 if unit == "bar" else 0


def unit_named(text: str) -> Unit:
    """The unit meant by a word. Raises :class:`ReadingError` where there is none."""
    spelled = _SPELLED.get(text.strip().lower())
    if spelled is None:
        raise ReadingError(f"{text!r} is not a unit of pressure here; use kPa, psi or bar")
    return spelled
