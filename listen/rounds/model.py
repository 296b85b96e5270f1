"""A round as files and facts: which clip was taken where, and what else was read on that cylinder."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

import msgspec

from listen.trade.points import Kind

Percent = Annotated[float, msgspec.Meta(ge=0, le=100)]
Kilopascal = Annotated[float, msgspec.Meta(gt=0, le=10_000)]
Cylinder = Annotated[int, msgspec.Meta(ge=1, le=99)]


class Facts(msgspec.Struct, frozen=True, kw_only=True):
    """Readings that stand beside the clips (``round.json``); every one may be missing."""

    loss_percent: Percent | None = None
    """Loss read on the tester."""
    supply_kpa: Kilopascal | None = None
    """Supply pressure."""
    restrictor_mm: Annotated[float, msgspec.Meta(gt=0, le=20)] | None = None
    """Bore of the tester's restrictor."""
    cylinder: Cylinder | None = None
    """Cylinder under test."""
    bubbles_seen: bool | None = None
    """Bubbles in the coolant while air was on; ``None``: not looked."""
    compression_dry_kpa: Kilopascal | None = None
    """Compression, dry."""
    compression_wet_kpa: Kilopascal | None = None
    """Compression, wet."""
    compression_others_kpa: Kilopascal | None = None
    """Typical dry compression of the engine's other cylinders."""
    loss_others_percent: Percent | None = None
    """Typical loss of the engine's other cylinders, same tester."""
    firing_order: tuple[Cylinder, ...] | None = None
    """Firing order; tells which valves of the other cylinders stand open."""
    calibration_db: Annotated[float, msgspec.Meta(ge=-100, le=300)] | None = None
    """To be added to a level in dB re full scale to give dB SPL; None: this microphone was not calibrated."""


@dataclass(frozen=True, slots=True)
class Take:
    """One clip of a round."""

    point: str
    """Listening point identifier."""
    kind: Kind
    """What the cylinder was doing."""
    order: int
    """Place in time among the takes of its point; equal numbers mean quiet before air."""
    path: Path
    """The sound file."""


@dataclass(frozen=True, slots=True)
class Round:
    """All takes and facts of one cylinder's round."""

    name: str
    """As the user gave it (folder or job round)."""
    takes: tuple[Take, ...]
    facts: Facts = field(default_factory=Facts)
