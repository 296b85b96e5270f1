"""What may be wrong with an engine, what may not be said about it, what does not go
together, and what each test cannot see."""

import math
from functools import cache
from typing import Literal

import msgspec

from listen.trade.tables import Row, by_id, read_table, rows_of


class Cause(Row, frozen=True, kw_only=True):
    scope: Literal["cylinder", "engine"]
    prior_percent: float
    """Share of engines brought in that have it, before any evidence; an estimate."""
    tests: tuple[str, ...]
    """Tests that would speak for or against it."""
    not_meant: str
    """What naming it does not mean."""
    owner: str
    paths: tuple[str, ...] = ()
    """Escape paths by which it lets the air out."""
    local: bool = False
    """True where a cause of the whole engine may sit on one cylinder: an injector, a stem seal."""
    diesel: str = ""
    """The words on a diesel, where they differ."""
    needs: str = ""
    """A finding without which it cannot be."""
    stop: bool = False
    """True where driving on can ruin the engine: the caution to stop belongs beside it where it leads."""

    def called(self, diesel: bool) -> str:
        return self.diesel if diesel and self.diesel else self.words

    @property
    def prior_db(self) -> float:
        p = self.prior_percent / 100
        # Decibans, as the evidence weighs: 10 of them are odds ten times as long.
        return 10 * math.log10(p / (1 - p))


class Reference(msgspec.Struct, frozen=True):
    words: str
    weight: Literal["read", "own", "weak"]


causes = by_id("causes", "cause", Cause)


def causes_of(path: str) -> tuple[str, ...]:
    """What lets the air out by a path, in the order of the table: the plainest first."""
    return tuple(c.id for c in causes().values() if path in c.paths)


@cache
def sources() -> dict[str, Reference]:
    return {key: msgspec.convert(row, Reference) for key, row in read_table("sources").items()}


class Contradiction(Row, frozen=True, kw_only=True):
    needs: tuple[str, ...] = msgspec.field(name="all")
    then: str
    unless: tuple[str, ...] = msgspec.field(name="none", default=())
    check: str = ""
    """The check it asks for while no cause leads; a row of ``checks.toml``."""


class BlindSpot(Row, frozen=True, kw_only=True):
    blind_to: tuple[str, ...]
    misleads: tuple[str, ...]


contradictions = rows_of("contradictions", "contradiction", Contradiction)
blind_spots = by_id("blindspots", "test", BlindSpot)
