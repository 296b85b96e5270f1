"""What does not go together, and what each test cannot see."""

from functools import cache

import msgspec

from listen.trade.tables import rows


class Contradiction(msgspec.Struct, frozen=True):
    """One row of ``contradictions.toml``."""

    id: str
    needs: tuple[str, ...] = msgspec.field(name="all")
    """Findings that must stand together."""
    words: str
    then: str
    """What to do about it."""
    sources: tuple[str, ...]
    unless: tuple[str, ...] = msgspec.field(name="none", default=())
    """Findings that must not stand."""
    check: str = ""
    """The check it asks for while no cause leads; a row of ``checks.toml``."""


class BlindSpot(msgspec.Struct, frozen=True):
    """One row of ``blindspots.toml``."""

    id: str
    words: str
    blind_to: tuple[str, ...]
    misleads: tuple[str, ...]
    sources: tuple[str, ...]


@cache
def contradictions() -> tuple[Contradiction, ...]:
    """All contradictions the tables know."""
    return rows("contradictions", "contradiction", Contradiction)


@cache
def blind_spots() -> dict[str, BlindSpot]:
    """What each test cannot see, by test."""
    return {row.id: row for row in rows("blindspots", "test", BlindSpot)}
