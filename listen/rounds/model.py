"""A round as files and facts: which clip was taken where, and what else was read on that cylinder."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

import msgspec

from listen.bounded import Cylinder
from listen.judge.result import EngineSay, ShopSeen
from listen.trade.engine import MAX_CYLINDERS
from listen.trade.points import Kind

Percent = Annotated[float, msgspec.Meta(ge=0, le=100)]
Kilopascal = Annotated[float, msgspec.Meta(gt=0, le=10_000)]
Second = Annotated[float, msgspec.Meta(ge=0, le=600)]

SWITCHED_KINDS = (Kind.SWITCHED, Kind.SWITCHED_SOUND)
"""Takes in which the air was switched at a standing microphone."""


class Facts(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Readings that stand beside the clips (``round.json``); every one may be missing."""

    loss_percent: Percent | None = None
    supply_kpa: Kilopascal | None = None
    restrictor_mm: Annotated[float, msgspec.Meta(gt=0, le=20)] | None = None
    cylinder: Cylinder | None = None
    bubbles_seen: bool | None = None
    """Bubbles in the coolant while air was on; ``None``: not looked."""
    top_found_again: bool | None = None
    """The crank was turned over, top dead centre on the compression stroke found anew, and the loss is as before;
    ``None``: not done. Where it changed, the new loss is ``loss_percent`` and the clips are taken anew."""
    air_followed: bool | None = None
    """The tester's needle fell and rose with the valve of a switched take; ``None``: not looked."""
    compression_dry_kpa: Kilopascal | None = None
    compression_wet_kpa: Kilopascal | None = None
    loss_others_percent: Percent | None = None
    """Typical loss of the engine's other cylinders, same tester."""
    firing_order: tuple[Cylinder, ...] | None = None
    """Firing order; tells which valves of the other cylinders stand open."""
    cylinders: Annotated[int, msgspec.Meta(ge=1, le=MAX_CYLINDERS)] | None = None
    """How many the engine has: of a single one no other is known to be sound, or has a loss."""
    points: tuple[str, ...] | None = None
    """Listening points that this engine has; only they are asked for."""
    calibration_db: Annotated[float, msgspec.Meta(ge=-100, le=300)] | None = None
    """To be added to a level in dB re full scale to give dB SPL; None: this microphone was not calibrated."""


class Commands(msgspec.Struct, frozen=True, kw_only=True):
    """When the air of a switched take was commanded (``round.json``, ``switched``)."""

    period_s: Annotated[float, msgspec.Meta(gt=0, le=60)] | None = None
    """Seconds from one opening to the next."""
    on_s: tuple[tuple[Second, Second], ...] = ()
    """Opening and shutting of each time the air was on, from the start of the take."""


class FileNotes(Commands, frozen=True, kw_only=True):
    """What differs for one file of a loose round; its commanded times stand here or under ``switched``."""

    switched: Commands | None = None
    channels: tuple[str | None, ...] | None = None
    together: str = ""
    """Files with the same word here were recorded at the same time by several channels."""


class Taking(msgspec.Struct, frozen=True, kw_only=True):
    """How the clips of a loose round were taken (``round.json``); every key may be missing."""

    switched: Commands | None = None
    """Commanded times of the switched takes."""
    channels: tuple[str | None, ...] | None = None
    """Point at each channel of an ``all-`` file; null: unused."""
    files: dict[str, FileNotes] = {}
    """By file name without suffix, where one differs."""

    def commands(self, stem: str) -> Commands | None:
        """What was commanded in a file."""
        own = self.files.get(stem)
        if own is None:
            return self.switched
        # Both spellings are taken; what a file says itself goes before what is said of all.
        return own.switched or (own if own.on_s or own.period_s else self.switched)

    def channels_of(self, stem: str) -> tuple[str | None, ...] | None:
        """Points in the channels of a file."""
        own = self.files.get(stem)
        return own.channels if own and own.channels else self.channels


@dataclass(frozen=True, slots=True)
class Take:
    point: str
    kind: Kind
    """What the cylinder was doing."""
    order: int
    """Place in time among the takes of its point; equal numbers mean quiet before air."""
    path: Path
    channel: int | None = None
    """Channel of the file, from 0, where it holds several points; None: the one asked for."""
    together: str = ""
    """Name of what was recorded at the same time: all channels of one take share it."""
    on_s: tuple[tuple[float, float], ...] = ()
    """When the air was commanded on and off in a switched take, seconds from its start; empty: not known."""

    def heard_in(self, asked: int) -> int:
        """The channel of the file that is heard: the take's own, where the file holds several points."""
        return asked if self.channel is None else self.channel


@dataclass(frozen=True, slots=True)
class Round:
    """All takes and facts of one cylinder's round."""

    name: str
    """As the user gave it (folder or job round)."""
    takes: tuple[Take, ...]
    facts: Facts = field(default_factory=Facts)
    engine: tuple[EngineSay, ...] | None = None
    """What rounds of the engine's other cylinders say of it; None: a round of no job, which has none to tell either."""
    shop: ShopSeen | None = None
    """The shop's own teardowns, where somebody lets them count."""
