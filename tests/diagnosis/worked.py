"""Reads the worked engine cases, and compares a diagnosis with what a case expects."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import msgspec

from listen.diagnosis.case import CylinderCase, EngineCase
from listen.diagnosis.model import Diagnosis
from listen.trade.layout import layout

HERE = Path(__file__).parent


def engine_of(data: dict[str, Any]):
    """The engine of a case."""
    rest = dict(data)
    chosen = {k: rest.pop(k) for k in ("layout", "numbering") if k in rest}
    return msgspec.structs.replace(layout(chosen["layout"], numbering=chosen.get("numbering")), **rest)


def case_of(data: dict[str, Any]) -> EngineCase:
    """The input of a case; unknown keys are refused."""
    known = {"title", "sources", "story", "engine", "expect", "cylinder"}
    cylinders = tuple(msgspec.convert(c, Strict) for c in data.get("cylinder", ()))
    rest = {k: tuple(v) if isinstance(v, list) else v for k, v in data.items() if k not in known}
    return EngineCase(engine=engine_of(data["engine"]), cylinders=cylinders, **rest)


class Strict(CylinderCase, frozen=True, forbid_unknown_fields=True):
    """A cylinder whose misspelt keys are refused."""


def load(path: Path) -> dict[str, Any]:
    """One case file."""
    return tomllib.loads(path.read_text("utf-8"))


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
