"""What is known about an engine, as plain values: the input of the diagnosis; and what is found in it."""

import msgspec

from listen.trade.engine import Engine

DRY, WET, LOSS = "compression-dry", "compression-wet", "loss"
"""Readings of a cylinder."""


class CylinderCase(msgspec.Struct, frozen=True, kw_only=True):
    """What is known about one cylinder; everything may be missing."""

    cylinder: int
    figures: dict[str, float] = {}
    """What was read on it, by reading, and ``restrictor`` and ``supply`` of the tester behind its losses: pressures in
    kPa (gauge), losses in percent, bores in mm."""
    loss_read: str = ""
    """The loss as it was read, in words, where it was carried over to the reference restrictor."""
    paths: dict[str, float] = {}
    """Probability that each escape path is at work by what the microphone heard, readings left out; empty where not
    listened."""
    heard_before: str = ""
    """Why what was heard belongs to an earlier state of the cylinder; empty where it is of now."""
    decided: tuple[str, ...] = ()
    """Paths a person decided on against the program; ``none`` for sound."""
    decided_by: str = ""
    heard_at_holes: tuple[int, ...] = ()
    """Neighbours at whose plug hole air was heard."""
    by_ear: tuple[str, ...] = ()
    bubbles_seen: bool | None = None
    plugs: tuple[str, ...] = ()
    """Looks of the plug (or plugs), identifiers of ``plugs.toml``."""
    found: tuple[str, ...] = ()
    """Facts of scope ``cylinder`` that hold."""
    absent: tuple[str, ...] = ()
    """And those that were looked for and do not."""


class Made(msgspec.Struct, frozen=True):
    check: str
    outcome: str
    cylinder: int | None = None


class EngineCase(msgspec.Struct, frozen=True, kw_only=True):
    engine: Engine
    cylinders: tuple[CylinderCase, ...] = ()
    symptoms: tuple[str, ...] = ()
    """Facts of scope ``engine`` that hold, identifiers of ``facts.toml``."""
    no: tuple[str, ...] = ()
    """Facts that were asked and do not hold."""
    symptoms_asked: bool = False
    """True where the questions every complaint is asked were put, even if every answer was no."""
    figures: dict[str, float] = {}
    """Figures of the whole engine by fact, pressures in kPa."""
    dry_order: tuple[int, ...] = ()
    """Cylinders in the order their compression was taken."""
    made: tuple[Made, ...] = ()

    def read(self, reading: str) -> dict[int, float]:
        """What was read of a kind, by cylinder."""
        return {c.cylinder: c.figures[reading] for c in self.cylinders if reading in c.figures}


class Finding(msgspec.Struct, frozen=True):
    """A row of the evidence table (or a derived fact that weighs nothing) found on an engine."""

    id: str
    """Row of ``evidence.toml``, or a derived fact used by the contradictions."""
    cylinders: tuple[int, ...] = ()
    """Cylinders it belongs to; empty: the whole engine."""
    detail: str = ""
    share: float = 1.0
    """Part of the row's weight that counts (0-1)."""
    partner: int | None = None
    """The other cylinder of a pair."""
