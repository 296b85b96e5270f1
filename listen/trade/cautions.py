"""Cautions, each tied to the step it stands before."""

from collections.abc import Iterable
from typing import Literal

import msgspec

from listen.trade.tables import Row, read_table, rows_of
from listen.trade.units import said_in, unit_named

Step = Literal[
    "before",
    "plugs-out",
    "cranking",
    "timing-unknown",
    "wet-test",
    "air-on",
    "switching",
    "listening",
    "hearing",
    "radiator",
    "running",
    "after",
    "stop-driving",
]


class Caution(Row, frozen=True, kw_only=True):
    step: Step
    weight: Literal["danger", "care"]
    """``danger`` where someone can be hurt, ``care`` where engine or measurement can be."""


cautions = rows_of("cautions", "caution", Caution)


def cautions_for(*steps: Step) -> tuple[Caution, ...]:
    return tuple(c for c in cautions() if c.step in steps)


def told_in(unit: str, rows: Iterable[Caution]) -> tuple[Caution, ...]:
    """Cautions with their pressures in another unit than kPa."""
    return tuple(msgspec.structs.replace(c, words=said_in(c.words, unit_named(unit))) for c in rows)


def defer_to_others() -> str:
    """The sentence that puts local codes, the maker and qualified people first."""
    return str(read_table("cautions")["defer"])
