"""What was seen, heard and told about the engine, in plain words."""

from __future__ import annotations

from functools import cache
from typing import Literal

import msgspec

from listen.errors import ReadingError
from listen.trade.tables import rows


class Symptom(msgspec.Struct, frozen=True):
    """One row of ``symptoms.toml``."""

    id: str
    group: Literal["smoke", "oil", "running", "cooling", "history", "found", "test"]
    """Orders the questions; ``found`` comes from a check, ``test`` tells how the test was done."""
    words: str
    scope: Literal["engine", "cylinder"] = "engine"
    """``cylinder`` where it belongs to one cylinder."""
    says_nothing: bool = False
    """True where it carries no weight."""
    note: str = ""


@cache
def symptoms() -> tuple[Symptom, ...]:
    """All symptoms in the order of the questions."""
    return rows("symptoms", "symptom", Symptom)


def symptom(symptom_id: str) -> Symptom:
    """Look a symptom up.

    Raises
    ------
    ReadingError
        Unknown identifier; the message lists the known ones.
    """
    for row in symptoms():
        if row.id == symptom_id:
            return row
    raise ReadingError(f"unknown symptom {symptom_id[:60]!r}; known: {' '.join(row.id for row in symptoms())}")
