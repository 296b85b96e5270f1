"""One observed fact in the words of the evidence table, with the figures it rests on."""

import msgspec


class Finding(msgspec.Struct, frozen=True):
    """A row of the evidence table (or a derived fact that weighs nothing) found on an engine."""

    id: str
    """Row of ``evidence.toml``, or a derived fact used by the contradictions."""
    cylinders: tuple[int, ...] = ()
    """Cylinders it belongs to; empty: the whole engine."""
    detail: str = ""
    """The figures behind it."""
    share: float = 1.0
    """Part of the row's weight that counts (0-1)."""
    partner: int | None = None
    """The other cylinder of a pair."""


def numbers_of(cylinders: tuple[int, ...]) -> str:
    """``cylinder 3`` or ``cylinders 2 and 3``."""
    if len(cylinders) == 1:
        return f"cylinder {cylinders[0]}"
    return "cylinders " + ", ".join(map(str, cylinders[:-1])) + f" and {cylinders[-1]}"
