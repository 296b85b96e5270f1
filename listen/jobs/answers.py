"""What someone typed or ticked: a figure read off a gauge, an answer to the table of facts; the events that keep it,
and what to ask before it is kept."""

import re
from typing import Any

import msgspec

from listen.errors import EngineError, ReadingError
from listen.jobs.events import AnswerWithdrawn, EngineDescribed, Payload, ReadingEntered, SymptomNoted, SymptomsAsked
from listen.jobs.job import Job
from listen.trade.engine import Engine
from listen.trade.facts import Fact, facts
from listen.trade.readings import Question, What, ask_loss, ask_pressure, ask_restrictor, ask_wet
from listen.trade.units import read_pressure, show, unit_named

YES, NO, OPEN = "yes", "no", ""
_FIGURE = re.compile(r"([+-]?\d{1,6}(?:[.,]\d{1,4})?)\s*([^\d\s].*)?")
NONE = "none"
"""Typed for groups of cylinders where there is none."""


def facts_here(job: Job) -> tuple[Fact, ...]:
    """Facts that concern this engine at all: a diesel's, a turbocharged one's only where it is so."""
    is_so = {"", job.engine.fuel, *job.symptoms_of()}
    return tuple(f for f in facts().values() if f.only in is_so)


def answer(job: Job, f: Fact, cylinder: int | None = None) -> str:
    """What the job holds: ``yes``, ``no``, a figure with its unit, groups; empty where it was not asked."""
    if f.answer == "groups":
        return " ".join("-".join(map(str, group)) for group in getattr(job.engine, f.field))
    if f.answer == "figure":
        return _figure(job, f, cylinder)
    if f.sets:
        # Such a fact is no answer of its own but how the engine is described, whoever described it.
        return YES if all(getattr(job.engine, k) == v for k, v in f.sets.items()) else NO
    return YES if f.id in job.symptoms_of(cylinder) else NO if f.id in job.asked_of(cylinder) else OPEN


def in_words(job: Job, f: Fact) -> str:
    """The answer on one line; of a cylinder's fact for every cylinder that has one."""
    if f.scope == "engine":
        return answer(job, f)
    told = {n: answer(job, f, n) for n in job.engine.cylinders}
    if f.answer == "yes-no":
        on, off = ([str(n) for n, given in told.items() if given == word] for word in (YES, NO))
        parts = [f"on {', '.join(on)}"] if on else []
        return "; ".join([*parts, f"not on {', '.join(off)}"] if off else parts)
    return ", ".join(f"{n}: {given}" for n, given in told.items() if given)


def _figure(job: Job, f: Fact, cylinder: int | None) -> str:
    read = job.reading(f.id, cylinder=cylinder)
    if read is None:
        sizes = {"compression-ratio": job.size.compression_ratio, "displacement": job.size.displacement_cc}
        size = sizes.get(f.id)
        return f"{size:g} {f.unit}" if size is not None else OPEN
    if f.unit == "pressure":
        return show(read.si, unit_named(job.pressure_unit))
    return f"{read.value:g} %" if f.unit == "percent" else f"{read.value:g} {f.unit}"


def answer_events(job: Job, f: Fact, given: str, cylinder: int | None = None) -> tuple[Payload, ...]:
    """Events that keep ``yes``, ``no`` or no answer (empty) to a statement; none where it is held already."""
    if given == answer(job, f, cylinder):
        return ()
    if f.sets:
        return _engine(job, f.sets if given == YES else f.otherwise)
    if given == YES:
        return (SymptomNoted(symptom=f.id, cylinder=cylinder),)
    if given == NO:
        # What was noted goes and that it was asked stays: a no is told from what nobody asked.
        back = SymptomNoted(symptom=f.id, cylinder=cylinder, present=False)
        asked = SymptomsAsked(symptoms=(f.id,), cylinder=cylinder)
        known = ((back, f.id in job.symptoms_of(cylinder)), (asked, f.id not in job.asked_of(cylinder)))
        return tuple(event for event, needed in known if needed)
    return (AnswerWithdrawn(fact=f.id, cylinder=cylinder),)


def type_in(job: Job, f: Fact, text: str, cylinder: int | None = None) -> tuple[Payload, ...]:
    """Events that keep a figure or groups as typed; nothing typed takes the answer back.

    Raises ReadingError: no figure, another unit, or outside the fact's limits. EngineError: groups that are none of
    this engine's cylinders."""
    text = text.strip()
    if f.answer == "groups":
        return _engine(job, {f.field: () if text.casefold() in ("", NONE) else _groups(f, text)})
    if not text:
        return (AnswerWithdrawn(fact=f.id, cylinder=cylinder),) if answer(job, f, cylinder) else ()
    return (_read(job, f, text, cylinder),)


def unit_here(job: Job, f: Fact) -> str:
    return job.pressure_unit if f.unit == "pressure" else "%" if f.unit == "percent" else f.unit


def _engine(job: Job, changed: dict[str, Any]) -> tuple[Payload, ...]:
    engine: Engine = msgspec.structs.replace(job.engine, **changed)
    return () if engine == job.engine else (EngineDescribed(engine=engine, size=job.size),)


def _groups(f: Fact, text: str) -> tuple[tuple[int, ...], ...]:
    parts = [p for p in re.split(r"[\s,;]+", text) if p]
    if not all(re.fullmatch(r"\d{1,2}(?:[-+]\d{1,2})*", p) for p in parts):
        raise EngineError(f"“{text[:40]}” is no groups of cylinders: type those together with a hyphen, e.g. 1-2 3-4")
    return tuple(tuple(int(n) for n in re.split(r"[-+]", p)) for p in parts)


def _read(job: Job, f: Fact, text: str, cylinder: int | None) -> ReadingEntered:
    if f.unit == "pressure":
        pressure = read_pressure(text, unit_named(job.pressure_unit))
        value, unit, si = pressure.value, str(pressure.unit), pressure.kpa
    else:
        # A unit may be cut to its first letter.
        m, units = _FIGURE.fullmatch(text), (f.unit.casefold(), "%", f.unit[:1].casefold())
        if m is None or (m[2] and m[2].strip().casefold() not in units):
            raise ReadingError(f"“{text[:20]}” is no figure in {f.unit}; type a number, for example {f.least + 1:g}")
        value = si = float(m[1].replace(",", "."))
        unit = f.unit
    if not f.least <= si <= f.most:
        here, bare = unit_here(job, f), f.unit != "pressure"
        least, most = (f"{x:g} {here}" if bare else show(x, unit_named(here)) for x in (f.least, f.most))
        raise ReadingError(f"{f.words}: {text[:20]} is outside {least} to {most}; look again, or leave it out")
    return ReadingEntered(reading=f.id, value=value, unit=unit, si=si, cylinder=cylinder)


MM_PER_INCH = 25.4
_LOSS_OR_BORE = re.compile(r"\s*(\d{1,6}(?:[.,]\d{1,6})?|[.,]\d{1,6})\s*(mm|in|inch|\"|%|)\s*", re.IGNORECASE)
PRESSURES: dict[str, What] = {"compression-dry": "dry", "compression-wet": "wet", "supply": "supply"}
JOB_WIDE = ("supply", "restrictor")
"""Read once for all cylinders: the tester stays on the cart."""


Typed = tuple[ReadingEntered, tuple[Question, ...]]
"""What is kept, and the questions about it; the event names them as answered, so it is written after the asking."""


def unit_of(reading: str, job: Job) -> str:
    if reading == "restrictor":
        # Whoever reads gauges in psi has drills in inches.
        return "in" if job.pressure_unit == "psi" else "mm"
    return "%" if reading == "loss" else job.pressure_unit


def typed(reading: str, text: str, job: Job, cylinder: int | None = None, round_id: str | None = None) -> Typed:
    """Read one figure. Raises ReadingError: no number, an unknown unit, or a figure that cannot be."""
    cylinder = None if reading in JOB_WIDE else cylinder
    event, questions = _pressure(reading, text, job, cylinder) if reading in PRESSURES else _bare(reading, text, job)
    sure = tuple(d.id for d in questions)
    return msgspec.structs.replace(event, cylinder=cylinder, round_id=round_id, confirmed=sure), questions


def _pressure(reading: str, text: str, job: Job, cylinder: int | None) -> Typed:
    entry = read_pressure(text, unit_named(job.pressure_unit))
    mates = [r.si for n in job.engine.cylinders if n != cylinder and (r := job.reading(reading, n))]
    questions = ask_pressure(
        entry,
        PRESSURES[reading],
        # What is read once for all cylinders has no mates to be held against.
        mates_kpa=() if cylinder is None else mates,
        unit=unit_named(job.pressure_unit),
        fuel=job.engine.fuel,
    )
    if reading == "compression-wet" and (dry := job.reading("compression-dry", cylinder)):
        questions += ask_wet(read_pressure(show(dry.si, unit_named(job.pressure_unit))), entry)
    return ReadingEntered(reading=reading, value=entry.value, unit=entry.unit, si=entry.kpa), questions


def _bare(reading: str, text: str, job: Job) -> Typed:
    if (found := _LOSS_OR_BORE.fullmatch(text)) is None:
        raise ReadingError(f"“{text.strip()[:20]}” is no {reading}; type a number, for example 12.5")
    value, unit = float(found[1].replace(",", ".")), found[2].lower() or unit_of(reading, job)
    if reading == "loss":
        if value > 100:
            raise ReadingError(f"loss {value:g} %: from 0 to 100 can be; enter the percentage lost")
        return ReadingEntered(reading=reading, value=value, unit="percent", si=value), ask_loss(value)
    inches = unit in ("in", "inch", '"')
    si = value * MM_PER_INCH if inches else value
    return ReadingEntered(reading=reading, value=value, unit="in" if inches else "mm", si=si), ask_restrictor(si, value)
