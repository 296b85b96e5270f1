"""What to check next: how, with what, how dangerous, and what each outcome says; evidence
and its weight on causes: a table a mechanic may correct, capped so that rows are not added freely."""

from collections.abc import Iterable
from functools import cache
from typing import Literal

import msgspec

from listen.trade.tables import Row, read_table, rows, rows_of

Turns = Literal["", "by-hand", "cranks", "runs"]
NOT_POSSIBLE = "not-possible"
"""Outcome of a check that cannot be made here: it weighs nothing and is not asked again."""


class Outcome(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    words: str
    says: str
    """What it speaks for, in a few words."""
    finding: str = ""
    """The row of ``evidence.toml`` that it is; empty where it has weights of its own."""
    for_db: dict[str, float] = msgspec.field(name="for", default={})
    against_db: dict[str, float] = msgspec.field(name="against", default={})
    stop: bool = False
    """True where the engine is not to be started with it."""

    def row(self, check: str) -> str:
        return self.finding or f"{check}:{self.id}"


class Check(Row, frozen=True, kw_only=True):
    pair: tuple[str, str]
    do: str
    means: str = ""
    """What each outcome says, in sentences; made from the outcomes."""
    tools: str
    minutes: int
    risk: str
    turns: Turns = ""
    at: Literal["cylinder", "engine"]
    """Whether its outcome belongs to a cylinder or to the engine."""
    either: bool = False
    """True where, of several cylinders in question, it is made on any one of them."""
    done_by: tuple[str, ...]
    """Kinds of evidence that make it superfluous."""
    also: tuple[tuple[str, str], ...] = ()
    only_with: tuple[str, ...] = ()
    """Findings of which one must stand; empty: none needed."""
    not_with: tuple[str, ...] = ()
    """Findings beside which it would do harm or tell nothing."""
    outcomes: tuple[Outcome, ...]

    def __post_init__(self) -> None:
        means = " ".join(f"{o.words[:1].upper()}{o.words[1:]}: {o.says}." for o in self.outcomes)
        msgspec.structs.force_setattr(self, "means", means)

    def separates(self, a: str, b: str) -> bool:
        return any({a, b} == set(pair) for pair in (self.pair, *self.also))

    def fits(self, done: frozenset[str], found: frozenset[str] | None) -> bool:
        """True where it is not yet made, and the findings (if known) ask for it or do not forbid it."""
        made = self.id in done or bool(done.intersection(self.done_by))
        if made or found is None:
            return not made
        asked = not self.only_with or bool(found.intersection(self.only_with))
        return asked and not found.intersection(self.not_with)

    def outcome(self, outcome_id: str) -> Outcome | None:
        """One of its outcomes; None for one it does not know."""
        return next((o for o in self.outcomes if o.id == outcome_id), None)


class Alone(msgspec.Struct, frozen=True):
    """What confirms or refutes a cause that stands without a rival, cheapest first."""

    cause: str
    checks: tuple[str, ...]
    whole: tuple[str, ...] = ()


class First(msgspec.Struct, frozen=True):
    """A check that comes before any that moves the engine, while a finding stands."""

    check: str
    before: tuple[Turns, ...]
    found: tuple[str, ...] = msgspec.field(name="with")
    why: str
    unless: tuple[str, ...] = ()
    """Kinds of evidence that show it was safe already."""


firsts = rows_of("checks", "first", First)


checks = rows_of("checks", "check", Check)


def known_check(check_id: str) -> Check | None:
    """One row of the table; None where there is none of that name."""
    return next((c for c in checks() if c.id == check_id), None)


def check_named(check_id: str) -> Check:
    return next(c for c in checks() if c.id == check_id)


def checks_between(
    a: str, b: str, done: frozenset[str] = frozenset(), found: frozenset[str] | None = None
) -> tuple[Check, ...]:
    """Checks that separate two causes and are not yet done: those made for the findings at hand, then as in the table.

    ``done`` names checks made and kinds of evidence at hand; without ``found``, the findings at hand, checks are
    offered whatever they need.
    """
    fit = (c for c in checks() if c.separates(a, b) and c.fits(done, found))
    # False sorts before True; the sort is stable, so the table's order holds within each.
    return tuple(sorted(fit, key=lambda c: not c.only_with))


def checks_alone(
    cause: str, *, whole: bool = False, done: frozenset[str] = frozenset(), found: frozenset[str] = frozenset()
) -> tuple[Check, ...]:
    """Checks that confirm or refute one cause, on its cylinder or on the test as a whole, cheapest first."""
    row = next(row for row in rows("checks", "alone", Alone) if row.cause == cause)
    wanted = row.whole if whole and row.whole else row.checks
    return tuple(c for id in wanted if (c := check_named(id)).fits(done, found))


def safe_order(wanted: Iterable[Check], done: frozenset[str], found: frozenset[str]) -> tuple[Check, ...]:
    """The same checks, each behind what safety puts before it; what is not allowed yet waits for that."""
    due = [f for f in firsts() if found.intersection(f.found) and not done.intersection({f.check, *f.unless})]
    firsts_of = ((c, (f.check for f in due if c.turns in f.before and c.id != f.check)) for c in wanted)
    ordered = (check_named(next(first, c.id)) for c, first in firsts_of)
    # Two that wait for the same first check show it once.
    return tuple({c.id: c for c in ordered}.values())


Family = Literal["compression", "leak", "plugs", "smoke", "symptoms", "alone"]


class Evidence(Row, frozen=True, kw_only=True):
    family: Family
    for_db: dict[str, float] = msgspec.field(name="for")
    against_db: dict[str, float] = msgspec.field(name="against")
    """Decibans against causes, written without sign."""
    why: str
    strength: Literal["hi", "mid", "lo"]
    """How sure we are of the direction."""
    needs_all: bool = False
    """Weighs on whole-engine causes only where every cylinder tested shows it."""
    stop: bool = False
    """True where the engine is not to be started or driven with it, whatever the cause."""
    stop_until: tuple[str, ...] = ()
    """Findings, or outcomes as ``check:outcome``, after which it forbids starting no more."""
    coolant: bool = False
    """True where it tells of coolant, which an air-cooled engine has not."""
    clears: bool = False
    """True where it tells what is not the case: no cause is named on such rows alone."""
    when: tuple[str, ...] = ()
    """Findings that must all stand; they make this row a finding of its own."""
    when_any: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()
    """Findings beside which it says nothing."""

    def weight_db(self, cause: str) -> float:
        """Signed decibans for a cause; 0 where the row does not speak of it."""
        return self.for_db.get(cause, 0.0) - self.against_db.get(cause, 0.0)


class Caps(msgspec.Struct, frozen=True):
    """Most that a family, or two together, may move a cause, in decibans."""

    compression: float
    leak: float
    plugs: float
    smoke: float
    symptoms: float
    plugs_and_smoke: float
    smoke_and_symptoms: float


def outcome_rows() -> tuple[Evidence, ...]:
    """Rows of evidence for outcomes of checks that have weights of their own."""
    return tuple(
        Evidence(
            id=o.row(c.id), family="alone", words=f"{c.words}: {o.words}", for_db=o.for_db, against_db=o.against_db,
            why=f"It says: {o.says}.", sources=c.sources, strength="mid", stop=o.stop,
        )
        for c in checks()
        for o in c.outcomes
        if not o.finding and (o.for_db or o.against_db)
    )  # fmt: skip


@cache
def evidence_rows() -> dict[str, Evidence]:
    """All rows by identifier, in the order of the table; outcomes of checks with weights of their own behind them."""
    return {row.id: row for row in (*rows("evidence", "evidence", Evidence), *outcome_rows())}


@cache
def caps() -> Caps:
    return msgspec.convert(read_table("evidence")["caps_db"], Caps)
