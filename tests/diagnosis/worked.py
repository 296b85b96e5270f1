"""Reads the worked engines, and compares a diagnosis with what a case expects."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import msgspec

from listen.diagnosis.case import CylinderCase, EngineCase, Made
from listen.diagnosis.model import Diagnosis
from listen.trade.engine import layout
from listen.trade.facts import core

HERE = Path(__file__).parent
HEARD = 0.95
"""Probability of a path the microphone names."""
FIGURES = {
    "dry": "compression-dry",
    "wet": "compression-wet",
    "loss": "loss",
    "loss_again": "loss-again",
    "loss_after_run": "loss-after-run",
    "dry_first": "compression-dry-first",
    "restrictor_mm": "restrictor",
}
"""Key of a case or of one of its cylinders, and the reading it gives."""
BY_CYLINDER = {
    **{key: key for key in FIGURES if key != "restrictor_mm"},
    "heard": "paths",
    "holes": "heard_at_holes",
    "ear": "by_ear",
    "bubbles": "bubbles_seen",
    "plugs": "plugs",
    "on": "found",
    "off": "absent",
}
"""Key of a case, and the field of a cylinder it fills."""
SAYS = {"title", "kept", "story", "sources", "lead", "at", "second", "may", "absent", "stop", "never", "expect"}
"""Keys that tell of the case, not of the engine."""


def engine_of(data: dict[str, Any]):
    """The engine of a case."""
    rest = dict(data)
    chosen = {k: rest.pop(k) for k in ("layout", "numbering") if k in rest}
    for key in ("shared_intakes", "heads", "shared_exhaust_ports"):
        if key in rest:
            rest[key] = tuple(tuple(group) for group in rest[key])
    return msgspec.structs.replace(layout(chosen["layout"], numbering=chosen.get("numbering")), **rest)


def case_of(data: dict[str, Any]) -> EngineCase:
    """The input of a case; unknown keys are refused."""
    data = dict(data)
    engine = engine_of(data.pop("engine"))
    told = {k: v for k, v in data.items() if k not in SAYS}
    cylinders = {int(c["cylinder"]): dict(c) for c in told.pop("cylinder", ())}
    bore = told.pop("restrictor_mm", None)
    for key, field in BY_CYLINDER.items():
        given = told.pop(key, {})
        pairs = zip(engine.cylinders, given, strict=True) if isinstance(given, list) else given.items()
        for n, value in pairs:
            cylinders.setdefault(int(n), {"cylinder": int(n)})[field] = _value(field, value)
    if bore is not None:
        for c in cylinders.values():
            c["restrictor_mm"] = bore
    renamed = {"facts": "symptoms", "order": "dry_order"}
    rest = {renamed.get(k, k): tuple(v) if isinstance(v, list) else v for k, v in told.items()}
    if rest.pop("asked", False):
        rest["symptoms_asked"], rest["no"] = True, tuple(sorted(core()))
    rest["made"] = tuple(msgspec.convert(m, Made) for m in rest.get("made", ()))
    return EngineCase(
        engine=engine,
        cylinders=tuple(cylinder(**cylinders[n]) for n in sorted(cylinders)),
        **rest,
    )


def cylinder(cylinder: int, **known: Any) -> CylinderCase:
    """What is known of a cylinder, its figures by the keys of a case; unknown keys are refused."""
    figures = {FIGURES[key]: float(known.pop(key)) for key in FIGURES if key in known}
    return msgspec.convert({"cylinder": cylinder, "figures": figures, **known}, Strict)


def _value(field: str, value: Any) -> Any:
    if field == "paths":
        return dict.fromkeys(value, HEARD)
    return [value] if field == "plugs" and isinstance(value, str) else value


class Strict(CylinderCase, frozen=True, forbid_unknown_fields=True):
    """A cylinder whose misspelt keys are refused."""


def load(path: Path) -> dict[str, Any]:
    """One case file."""
    return tomllib.loads(path.read_text("utf-8"))


def engines() -> list[dict[str, Any]]:
    """The worked engines written before the weights."""
    return tomllib.loads((HERE / "engines.toml").read_text("utf-8"))["case"]


def faults_of(d: Diagnosis) -> list[tuple[str, tuple[int, ...]]]:
    """Causes stated, with their cylinders."""
    return [(f.cause, f.cylinders) for f in d.faults]


def wrong(data: dict[str, Any], d: Diagnosis) -> dict[str, str]:
    """What an engine's diagnosis says otherwise than a mechanic would, by kind of mistake."""
    found: dict[str, str] = {}
    stated = faults_of(d)
    cause, at = stated[0] if stated else ("", ())
    right = cause in data["lead"] and ("at" not in data or sorted(at) == sorted(data["at"]))
    second = [(c, n) for c, *n in data.get("second", ())]
    if second:
        right = right and (cause, list(at)) in second
    if not right:
        found["lead"] = f"{cause} {at} {d.faults[0].probability if d.faults else ''} instead of {data['lead']}"
        if d.kind != "open" and d.faults and d.faults[0].probability > 0.9:
            found["sure"] = found["lead"]
    allowed = {(c, tuple(n)) for c, n in second}
    invented = [f for f in stated[1:] if f not in allowed and f[0] not in data.get("may", ())]
    if invented:
        found["invented"] = str(invented)
    if missing := [s for s in allowed if s not in stated]:
        found["missing"] = str(missing)
    if banned := [c for c, _ in stated if c in data.get("absent", ())]:
        found["absent"] = str(banned)
    if "stop" in data and data["stop"] != bool(d.stop_for):
        found["false-stop" if d.stop_for else "no-stop"] = str(d.stop_for)
    if harm := [c.id for f in d.faults for c in f.checks if c.id in data.get("never", ())]:
        found["harm"] = str(harm)
    return found


def misses(expect: dict[str, Any], d: Diagnosis) -> list[str]:
    """What a diagnosis says otherwise than expected; empty where it fits."""
    first = d.faults[0] if d.faults else None
    said = {
        "kind": d.kind,
        "cause": first.cause if first else None,
        "cylinders": list(first.cylinders) if first else None,
        "check": first.next_check.id if first else None,
        "rivals": sorted(r.cause for r in first.rivals) if first else None,
        "also": [[f.cause, *f.cylinders] for f in d.faults[1:]],
        "contradictions": sorted(c.id for c in d.contradictions),
    }
    wrong = [f"{k}: expected {expect[k]}, got {said[k]}" for k in said if k in expect and said[k] != expect[k]]
    if (absent := expect.get("absent")) and first and absent in (first.cause, *(said["rivals"] or ())):
        wrong.append(f"{absent} should not be in the lead")
    return wrong
