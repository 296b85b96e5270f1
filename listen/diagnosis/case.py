"""What is known about an engine, as plain values: the input of the diagnosis."""

from __future__ import annotations

import msgspec

from listen.trade.layout import Engine


class CylinderCase(msgspec.Struct, frozen=True, kw_only=True):
    """What is known about one cylinder; everything may be missing."""

    cylinder: int
    dry_kpa: float | None = None
    """Dry compression, gauge."""
    dry_first_kpa: float | None = None
    """Dry compression after the first stroke."""
    wet_kpa: float | None = None
    loss_percent: float | None = None
    loss_again_percent: float | None = None
    """Loss when turned over and measured again."""
    paths: dict[str, float] = {}
    """Probability that each escape path is involved, from the listening judge; empty where not listened."""
    heard_at_holes: tuple[int, ...] = ()
    """Neighbours at whose plug hole air was heard."""
    by_ear: tuple[str, ...] = ()
    """Paths the tech called by ear."""
    bubbles_seen: bool | None = None
    plugs: tuple[str, ...] = ()
    """Looks of the plug (or plugs), identifiers of ``plugs.toml``."""
    found: tuple[str, ...] = ()
    """Symptoms of scope ``cylinder``."""


class EngineCase(msgspec.Struct, frozen=True, kw_only=True):
    """What is known about an engine."""

    engine: Engine
    cylinders: tuple[CylinderCase, ...] = ()
    symptoms: tuple[str, ...] = ()
    """Symptoms of scope ``engine``, identifiers of ``symptoms.toml``; empty may mean none or not asked."""
    symptoms_asked: bool = False
    """True where the questions were put, even if every answer was no."""
    expected_kpa: float | None = None
    """Dry compression by the maker's data (or the computed expectation), at sea level."""
    altitude_m: float = 0.0
    dry_order: tuple[int, ...] = ()
    """Cylinders in the order their compression was taken."""
    done: tuple[str, ...] = ()
    """Further kinds of evidence the job holds (``camera``), which make checks superfluous."""
