"""What may be wrong with an engine, and what may and may not be said about it."""

import math
from functools import cache
from typing import Literal

import msgspec

from listen.trade.tables import read_table, rows


class Cause(msgspec.Struct, frozen=True):
    """One row of ``causes.toml``."""

    id: str
    words: str
    scope: Literal["cylinder", "engine"]
    prior_percent: float
    """Share of engines brought in that have it, before any evidence; an estimate."""
    tests: tuple[str, ...]
    """Tests that would speak for or against it."""
    not_meant: str
    """What naming it does not mean."""
    owner: str
    """For the owner's page."""
    sources: tuple[str, ...]
    """Of prior and sentences."""
    local: bool = False
    """True where a cause of the whole engine may sit on one cylinder: an injector, a stem seal."""
    diesel: str = ""
    """The words on a diesel, where they differ."""
    needs: str = ""
    """A finding without which it cannot be."""
    stop: bool = False
    """True where driving on can ruin the engine: the caution to stop belongs beside it where it leads."""

    def called(self, diesel: bool) -> str:
        """Its words on this engine."""
        return self.diesel if diesel and self.diesel else self.words

    @property
    def prior_db(self) -> float:
        """Prior odds in decibans."""
        p = self.prior_percent / 100
        return 10 * math.log10(p / (1 - p))


class Reference(msgspec.Struct, frozen=True):
    """One row of ``sources.toml``."""

    words: str
    weight: Literal["read", "own", "weak"]


@cache
def causes() -> dict[str, Cause]:
    """All causes by identifier, in the order of the table."""
    return {row.id: row for row in rows("causes", "cause", Cause)}


@cache
def sources() -> dict[str, Reference]:
    """All sources by identifier."""
    return {key: msgspec.convert(row, Reference) for key, row in read_table("sources").items()}
