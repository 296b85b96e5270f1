"""What may be told of an engine beside its readings: facts, a row each, all optional; looks of plugs; fields of the job
card."""

from collections.abc import Iterator
from functools import cache
from typing import Any, Literal

import msgspec

from listen.errors import ReadingError
from listen.trade.causes import causes
from listen.trade.checks import evidence_rows
from listen.trade.engine import Engine
from listen.trade.tables import Row, by_id, row_named, rows_of

LONGEST = 200


class Detail(msgspec.Struct, frozen=True):
    id: str
    words: str
    hint: str = ""


details = rows_of("details", "detail", Detail)
"""All fields in the order asked."""


class Plug(Row, frozen=True, kw_only=True):
    look: str
    one: str = ""
    """Evidence row where this plug alone looks so."""
    all: str = ""
    """Evidence row where all do."""
    says_nothing: bool = False
    """True where the look carries no weight."""
    note: str = ""


plugs = rows_of("plugs", "plug", Plug)


def plug(plug_id: str) -> Plug:
    return row_named({row.id: row for row in plugs()}, plug_id, "plug condition", ReadingError)


Group = Literal["engine", "figures", "smoke", "oil", "running", "cooling", "history", "cylinder", "test"]
GROUP_WORDS: dict[Group, str] = {
    "engine": "How the engine is built",
    "figures": "Figures",
    "smoke": "Smoke",
    "oil": "Oil",
    "running": "How it runs",
    "cooling": "Coolant and head joint",
    "history": "What happened to it",
    "cylinder": "Of one cylinder",
    "test": "How the compression was tested",
}


class Band(msgspec.Struct, frozen=True):
    """What a figure means on one side of a limit."""

    finding: str
    below: float | None = None
    above: float | None = None

    def holds(self, value: float) -> bool:
        return (self.below is not None and value < self.below) or (self.above is not None and value > self.above)


class Fact(Row, frozen=True, kw_only=True):
    group: Group
    answer: Literal["yes-no", "figure", "groups"] = "yes-no"
    scope: Literal["engine", "cylinder"] = "engine"
    unit: str = ""
    """Of a figure; ``pressure`` follows the job's unit."""
    least: float = 0.0
    most: float = 0.0
    """Limits of a figure, pressures in kPa; outside them it is refused."""
    bands: tuple[Band, ...] = ()
    field: str = ""
    """Field of the engine that groups of cylinders are written to."""
    sets: dict[str, Any] = msgspec.field(default={})
    otherwise: dict[str, Any] = msgspec.field(default={})
    core: bool = False
    """Belongs to the questions every complaint is asked."""
    only: str = ""
    """Asked only where the engine is so: ``diesel``, ``turbo``."""
    says_nothing: bool = False
    """True where it carries no weight."""
    note: str = ""

    @property
    def of_engine(self) -> bool:
        """Whether it is a figure of the whole engine."""
        return self.answer == "figure" and self.scope == "engine"

    @property
    def symptom(self) -> bool:
        """Whether the journal keeps it as a symptom: a statement that is no field of the engine."""
        return self.answer == "yes-no" and not self.sets


facts = by_id("facts", "fact", Fact)


def fact(fact_id: str) -> Fact:
    return row_named(facts(), fact_id, "fact", ReadingError)


@cache
def symptoms(scope: str = "engine") -> tuple[Fact, ...]:
    return tuple(f for f in facts().values() if f.symptom and f.scope == scope)


@cache
def core() -> frozenset[str]:
    return frozenset(f.id for f in facts().values() if f.core)


def moves(f: Fact) -> tuple[str, ...]:
    """Causes a fact speaks for, in itself or with others, or makes possible, most first; empty: it weighs nothing."""
    named = {f.id, *(b.finding for b in f.bands)}
    rows = [r for r in evidence_rows().values() if r.id in named or named.intersection((*r.when, *r.when_any))]
    weights = {cause: max(r.for_db.get(cause, 0.0) for r in rows) for row in rows for cause in row.for_db}
    # A cause that cannot be without it is moved by it, though by no weight: such stand last.
    weights |= {c.id: 0.0 for c in causes().values() if c.needs == f.id}
    return tuple(sorted(weights, key=lambda c: -weights[c]))


def engine_findings(engine: Engine) -> Iterator[str]:
    """Statements that hold because the engine is built so."""
    for f in facts().values():
        if f.sets and all(getattr(engine, field) == value for field, value in f.sets.items()):
            yield f.id
