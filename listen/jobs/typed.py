"""A figure as someone typed it: the event that keeps it, and what to ask before it is kept."""

import re

import msgspec

from listen.errors import ReadingError
from listen.jobs.events import ReadingEntered
from listen.jobs.job import Job
from listen.trade.readings import Question, What, ask_loss, ask_pressure, ask_restrictor, ask_wet
from listen.trade.units import read_pressure, show, unit_named

MM_PER_INCH = 25.4
_FIGURE = re.compile(r"\s*(\d{1,6}(?:[.,]\d{1,6})?|[.,]\d{1,6})\s*(mm|in|inch|\"|%|)\s*", re.IGNORECASE)
PRESSURES: dict[str, What] = {"compression-dry": "dry", "compression-wet": "wet", "supply": "supply"}
JOB_WIDE = ("supply", "restrictor")
"""Read once for all cylinders: the tester stays on the cart."""


class Typed(msgspec.Struct, frozen=True):
    """What is kept, and the questions about it; the event names them as answered, so it is written after the asking."""

    event: ReadingEntered
    questions: tuple[Question, ...] = ()


def unit_of(reading: str, job: Job) -> str:
    if reading == "restrictor":
        return "in" if job.pressure_unit == "psi" else "mm"
    return "%" if reading == "loss" else job.pressure_unit


def typed(reading: str, text: str, job: Job, cylinder: int | None = None, round_id: str | None = None) -> Typed:
    """Read one figure. Raises ReadingError: no number, an unknown unit, or a figure that cannot be."""
    cylinder = None if reading in JOB_WIDE else cylinder
    event, questions = _pressure(reading, text, job, cylinder) if reading in PRESSURES else _bare(reading, text, job)
    sure = tuple(d.id for d in questions)
    return Typed(msgspec.structs.replace(event, cylinder=cylinder, round_id=round_id, confirmed=sure), questions)


def _pressure(reading: str, text: str, job: Job, cylinder: int | None) -> tuple[ReadingEntered, tuple[Question, ...]]:
    entry = read_pressure(text, unit_named(job.pressure_unit))
    mates = [r.si for n in job.engine.cylinders if n != cylinder and (r := job.reading(reading, n))]
    questions = ask_pressure(
        entry,
        PRESSURES[reading],
        mates_kpa=() if cylinder is None else mates,
        unit=unit_named(job.pressure_unit),
        fuel=job.engine.fuel,
    )
    if reading == "compression-wet" and (dry := job.reading("compression-dry", cylinder)):
        questions += ask_wet(read_pressure(show(dry.si, unit_named(job.pressure_unit))), entry)
    return ReadingEntered(reading=reading, value=entry.value, unit=entry.unit, si=entry.kpa), questions


def _bare(reading: str, text: str, job: Job) -> tuple[ReadingEntered, tuple[Question, ...]]:
    if (found := _FIGURE.fullmatch(text)) is None:
        raise ReadingError(f"“{text.strip()[:20]}” is no {reading}; type a number, for example 12.5")
    value, unit = float(found[1].replace(",", ".")), found[2].lower() or unit_of(reading, job)
    if reading == "loss":
        if value > 100:
            raise ReadingError(f"loss {value:g} %: from 0 to 100 can be; enter the percentage lost")
        return ReadingEntered(reading=reading, value=value, unit="percent", si=value), ask_loss(value)
    inches = unit in ("in", "inch", '"')
    si = value * MM_PER_INCH if inches else value
    return ReadingEntered(reading=reading, value=value, unit="in" if inches else "mm", si=si), ask_restrictor(si, value)
