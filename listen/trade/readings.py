"""Doubts about readings as they are entered: nothing is swallowed, nothing refused, a question is asked instead."""

from collections.abc import Sequence
from statistics import median
from typing import Literal

import msgspec

from listen.trade.restrictor import USUAL_MM
from listen.trade.units import KPA_PER, Pressure, Unit, digits, in_unit, show

What = Literal["dry", "wet", "supply"]
Fuel = Literal["petrol", "diesel"]

USUAL_KPA: dict[What, tuple[float, float]] = {"dry": (200.0, 2600.0), "wet": (200.0, 3200.0), "supply": (120.0, 1100.0)}
"""Gauge readings outside these are asked about (petrol engines; own trade knowledge)."""
DIESEL_KPA: dict[What, tuple[float, float]] = {"dry": (400.0, 4000.0), "wet": (400.0, 4600.0)}
"""The same for diesels: sound ones read 2,000 to 3,500 kPa, those with pre-chambers up to 4,000."""

SLIPS: dict[float, str] = {
    6.895: "psi entered as kPa, or the other way round",
    14.504: "bar entered as psi, or the other way round",
    100.0: "bar entered as kPa, or the other way round",
}
"""Ratio between units, and what was probably mixed up (NIST SP 811)."""

SLIP_TOLERANCE = 0.12
"""Relative distance from a unit ratio that still looks like a slip; cylinders of one engine differ about so much."""

WET_BELOW_DRY = 0.95
"""Oil never lowers a reading; below this share of the dry figure something was mixed up (gauges repeat within 5 %)."""

WET_FAR_ABOVE = 1.9
"""Above this times the dry figure the oil itself fills the chamber (10 ml in 250 cc already raises it by 84 %)."""


class Question(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    """What is doubted, lower case with hyphens."""
    text: str
    suggestion: str = ""
    """What would be typed for what was probably meant: offered, never taken by itself."""


def ask_pressure(
    entry: Pressure, what: What, *, mates_kpa: Sequence[float] = (), unit: Unit = "kPa", fuel: Fuel = "petrol"
) -> tuple[Question, ...]:
    """Doubts about one pressure; ``mates_kpa`` is the same reading on the engine's other cylinders.

    ``unit`` is that of the job, in which the usual figures are told.
    """
    if entry.kpa == 0:
        return (Question(id="zero", text=f"{what} reads 0: was it measured? A dead cylinder still shows a little."),)
    low, high = (DIESEL_KPA if fuel == "diesel" else USUAL_KPA).get(what, USUAL_KPA[what])
    # The other cylinders first: they tell more of this engine than what is usual.
    slip = _slip_against(entry, [m for m in mates_kpa if m > 0]) or _slip_alone(entry, what, low, high)
    if slip:
        return (slip,)
    if not low <= entry.kpa <= high:
        usual = f"{in_unit(low, unit).value:.{digits(unit)}f} to {show(high, unit)}"
        text = f"{what} {entry} is outside the usual {usual}: read and entered rightly?"
        return (Question(id="out-of-range", text=text),)
    return ()


def _slip_against(entry: Pressure, mates_kpa: Sequence[float]) -> Question | None:
    if not mates_kpa:
        return None
    middle = median(mates_kpa)
    for factor, words in ((f, words) for ratio, words in SLIPS.items() for f in (ratio, 1 / ratio)):
        if abs(entry.kpa / middle / factor - 1) <= SLIP_TOLERANCE:
            meant = _as_meant(entry, entry.kpa / factor)
            times = f"{factor:.1f} times" if factor > 1 else f"1/{1 / factor:.1f} of"
            text = f"{entry} is {times} the other cylinders: {words}? {meant} would fit."
            return Question(id="unit-slip", text=text, suggestion=str(meant))
    return None


def _slip_alone(entry: Pressure, what: What, low: float, high: float) -> Question | None:
    if low <= entry.kpa <= high:
        return None
    fits = [u for u in KPA_PER if u != entry.unit and low <= Pressure(entry.value, u).kpa <= high]
    # Where two units would fit, neither is likelier.
    if len(fits) != 1:
        return None
    meant = Pressure(entry.value, fits[0])
    return Question(id="unit-slip", text=f"{what} {entry}: was {meant} meant?", suggestion=str(meant))


def _as_meant(entry: Pressure, kpa: float) -> Pressure:
    """The same figure in the unit that makes it ``kpa``, else the nearest value in the unit entered."""
    same = (p for u in KPA_PER if abs((p := Pressure(entry.value, u)).kpa / kpa - 1) < 0.02)
    return next(same, Pressure(round(in_unit(kpa, entry.unit).value, 1), entry.unit))


def ask_wet(dry: Pressure, wet: Pressure) -> tuple[Question, ...]:
    if dry.kpa <= 0 or wet.kpa <= 0:
        return ()
    ratio = wet.kpa / dry.kpa
    if ratio < WET_BELOW_DRY:
        text = f"wet {wet} is below dry {dry}: oil does not lower a reading. Mixed up, or fewer strokes?"
        return (Question(id="wet-below-dry", text=text),)
    text = f"wet {wet} is {ratio:.1f} times dry {dry}: too much oil? Do not crank, let it out; about 1 ml per 100 cc."
    return (Question(id="wet-far-above", text=text),) if ratio > WET_FAR_ABOVE else ()


def ask_loss(percent: float) -> tuple[Question, ...]:
    meant = f"{percent * 100:g}"
    doubts = (
        (percent == 0, "loss-zero", "every ring pack loses a little; was the air on?", ""),
        (0 < percent < 1, "loss-fraction", f"was {meant} % meant?", meant),
    )
    return tuple(Question(id=id, text=f"Loss {percent:g} %: {text}", suggestion=s) for so, id, text, s in doubts if so)


def ask_restrictor(bore_mm: float, figure: float) -> tuple[Question, ...]:
    """Doubts about the restrictor's bore, which was entered as ``figure``."""
    low, high = USUAL_MM
    if low <= bore_mm <= high:
        return ()
    meant = next((f"{figure:g} {u}" for u, mm in (("in", 25.4), ("mm", 1.0)) if low <= figure * mm <= high), "")
    text = f"Restrictor {bore_mm:.4g} mm: usual are 0.5 to 2.5 mm (0.020 to 0.100 in)"
    return (Question(id="restrictor", text=f"{text}: was {meant} meant?" if meant else f"{text}.", suggestion=meant),)
