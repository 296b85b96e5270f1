"""Enters a worked engine the way a user does: typed figures, answered facts, rounds with what the microphone heard."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from worked import engine_of

from listen.jobs import events as ev
from listen.jobs.answers import NO, YES, answer_events, type_in, typed
from listen.jobs.fold import apply
from listen.jobs.job import Job
from listen.judge.result import BubbleRates, PathResult, PointResult, RoundResult, Verdict
from listen.trade.engine import neighbours
from listen.trade.facts import core, fact
from listen.trade.units import show, unit_named

HEARD = 0.95
POINTS = {"exhaust-valve": "tailpipe", "intake-valve": "intake", "coolant-passage": "radiator"}
PER_CYLINDER = {"dry_first": "compression-dry-first", "loss_again": "loss-again", "loss_after_run": "loss-after-run"}


def job_of(data: dict[str, Any], unit: str = "kPa") -> Job:
    """The job after everything of a case was entered."""
    job = Job()
    for said in _entered(data, unit):
        payloads = said(job) if callable(said) else (said,)
        for payload in payloads:
            event = ev.Event(
                id=f"e{job.events}", time="2026-01-05T09:00:00.000Z", actor="Ann", payload=payload, line=""
            )
            job = apply(job, event)
    assert not job.troubles, job.troubles
    return job


def _entered(data: dict[str, Any], unit: str) -> Iterator[Any]:
    engine = engine_of(data["engine"])
    yield ev.JobOpened(job="j", title=data["title"], engine=engine, pressure_unit=unit)
    yield from (_yes(id) for id in data.get("facts", ()))
    if data.get("asked"):
        yield ev.SymptomsAsked(symptoms=tuple(sorted(core() - set(data.get("facts", ())))))
    yield from (_figure(id, value, None) for id, value in data.get("figures", {}).items())
    dry = _by_cylinder(data, "dry")
    for n in data.get("order", dry):
        yield _reading("compression-dry", dry[n], n)
    for key, reading in {"wet": "compression-wet", "loss": "loss"}.items():
        yield from (_reading(reading, value, n) for n, value in _by_cylinder(data, key).items())
    if bore := data.get("restrictor_mm"):
        yield lambda job: (typed("restrictor", f"{bore} mm", job)[0],)
    for key, id in PER_CYLINDER.items():
        yield from (_figure(id, value, n) for n, value in _by_cylinder(data, key).items())
    for n, looks in _by_cylinder(data, "plugs").items():
        yield ev.PlugSeen(cylinder=n, conditions=(looks,) if isinstance(looks, str) else tuple(looks))
    for n, found in _by_cylinder(data, "on").items():
        yield from (_yes(id, n) for id in found)
    for n, absent in _by_cylinder(data, "off").items():
        yield from ((lambda job, id=id, n=n: answer_events(job, fact(id), NO, n)) for id in absent)
    heard, ear, bubbles = (_by_cylinder(data, key) for key in ("heard", "ear", "bubbles"))
    for n in sorted({*heard, *ear, *bubbles}):
        yield ev.RoundOpened(round_id=f"r{n}", cylinder=n)
        if n in ear:
            yield ev.ByEarCalled(round_id=f"r{n}", paths=tuple(ear[n]))
        if n in bubbles:
            yield ev.BubblesLooked(round_id=f"r{n}", seen="yes" if bubbles[n] else "no")
        if n in heard:
            holes = data.get("holes", {}).get(str(n)) or neighbours(engine, n)[:1]
            yield ev.Judged(round_id=f"r{n}", result=heard_as(heard[n], holes, engine.crankcase_point), clips=())
    for made in data.get("made", ()):
        yield ev.CheckMade(**made)


def _by_cylinder(data: dict[str, Any], key: str) -> dict[int, Any]:
    given = data.get(key, {})
    pairs = zip(engine_of(data["engine"]).cylinders, given, strict=True) if isinstance(given, list) else given.items()
    return {int(n): value for n, value in pairs}


def _yes(id: str, n: int | None = None):
    return lambda job: answer_events(job, fact(id), YES, n)


def _figure(id: str, value: float, n: int | None):
    def enter(job: Job):
        text = _pressure(value, job) if fact(id).unit == "pressure" else f"{value:g}"
        return type_in(job, fact(id), text, n)

    return enter


def _reading(reading: str, value: float, n: int):
    def enter(job: Job):
        text = f"{value:g}" if reading == "loss" else _pressure(value, job)
        return (typed(reading, text, job, n)[0],)

    return enter


def _pressure(kpa: float, job: Job) -> str:
    """As read off a gauge of the job's unit; what is too small for it in kPa."""
    return show(kpa, unit_named(job.pressure_unit)) if kpa > 50 else f"{kpa} kPa"


def heard_as(named: Any, holes: tuple[int, ...] | list[int], crankcase: str) -> RoundResult:
    """A round of which the microphone says so: its points loud, the odds theirs."""
    given = dict(named) if isinstance(named, dict) else dict.fromkeys(named, HEARD)
    points, paths = [], []
    for path, p in given.items():
        own = [f"plug-hole-{h}" for h in holes] if path == "next-cylinder" else [POINTS.get(path, "")]
        own = [crankcase] if path == "rings" else [point for point in own if point]
        points += own
        db = 10 * math.log10(p / (1 - p))
        terms = {"prior": -7.0, own[0]: db + 7.0} if own else {"prior": db}
        paths.append(PathResult(path=path, probability=p, evidence_db=terms, involved=p))
    verdict = Verdict(kind="path", paths=tuple(given), probability=max(given.values()), text="", next="")
    return RoundResult(round="", points=tuple(map(_loud, points)), paths=tuple(paths), verdict=verdict)


def _loud(point: str) -> PointResult:
    return PointResult(
        point=point,
        excess_db=9.0,
        excess_ci95_db=(8.0, 10.0),
        level_db=-40.0,
        level_is_upper_bound=False,
        level_unit="dBFS",
        detected=True,
        detection_limit_db=2.0,
        drift_db=0.3,
        bubbles_per_s=BubbleRates(0.0, 0.0),
    )
