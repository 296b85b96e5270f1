"""Evidence and its weight on causes: a table a mechanic may correct, capped so that rows are not added freely."""

from functools import cache
from typing import Literal

import msgspec

from listen.trade.checks import outcome_rows
from listen.trade.tables import read_table, rows

Family = Literal["compression", "leak", "plugs", "smoke", "symptoms", "alone"]


class Evidence(msgspec.Struct, frozen=True):
    """One row of ``evidence.toml``."""

    id: str
    family: Family
    words: str
    for_db: dict[str, float] = msgspec.field(name="for")
    """Decibans for causes."""
    against_db: dict[str, float] = msgspec.field(name="against")
    """Decibans against causes, written without sign."""
    why: str
    sources: tuple[str, ...]
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
    """And of these one."""
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


@cache
def evidence_rows() -> dict[str, Evidence]:
    """All rows by identifier, in the order of the table; outcomes of checks with weights of their own behind them."""
    told = [msgspec.convert(row, Evidence) for row in outcome_rows()]
    return {row.id: row for row in (*rows("evidence", "evidence", Evidence), *told)}


@cache
def caps() -> Caps:
    """The caps of the table."""
    return msgspec.convert(read_table("evidence")["caps_db"], Caps)
