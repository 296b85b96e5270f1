"""Listening points and escape paths: their names, in walking order, which path speaks at which point first, and
how common each path is and what loss it shows."""

import re
from collections.abc import Mapping
from enum import StrEnum
from functools import cache
from typing import Literal

import msgspec

from listen.errors import RoundError
from listen.trade.tables import rows_of, table


class Kind(StrEnum):
    """What the cylinder was doing while a clip was taken."""

    QUIET = "quiet"
    AIR = "air"
    """Air on, the cylinder under test."""
    SOUND = "sound"
    """Air on, a sound cylinder of the same engine, same point."""
    SHUT = "shut"
    """Supply on, cylinder side shut off: a better quiet."""
    SWITCHED = "switched"
    """Air off, on, off, on ... at a standing microphone, in one take."""
    SWITCHED_SOUND = "switched-sound"
    """The same on a sound cylinder."""


class PathId(StrEnum):
    """Where the air may go; ``none`` is sound: nothing beyond normal blow-by."""

    INTAKE_VALVE = "intake-valve"
    EXHAUST_VALVE = "exhaust-valve"
    RINGS = "rings"
    COOLANT_PASSAGE = "coolant-passage"
    NEXT_CYLINDER = "next-cylinder"
    FITTING = "fitting"
    SET_UP = "set-up"
    NONE = "none"


PATH_WORDS = {p: p.replace("-", " ") for p in PathId} | {PathId.SET_UP: "set-up", PathId.NONE: "sound"}
"""What each is called; only two otherwise than their identifiers."""


class PointRow(msgspec.Struct, frozen=True):
    id: str
    words: str
    own: tuple[PathId, ...]
    hold: str
    walked: Literal["always", "liquid-cooled", "exhaust", "crankcase", "neighbours"]
    """On which engines it is walked: all, those with a radiator, those whose exhaust or crankcase point it is named
    as, or once a neighbour."""

    like: str = ""
    """Row whose transfers it has where it has none of its own: the other bank's pipe hears as any pipe."""

    @property
    def numbered(self) -> bool:
        """Whether there is one a neighbour, told apart by its number."""
        return self.walked == "neighbours"

    def names(self, point_id: str) -> bool:
        """Whether a point is of this row, by its identifier."""
        return re.fullmatch(re.escape(self.id) + (r"-[1-9]\d?" if self.numbered else ""), point_id) is not None

    @property
    def on_every_engine(self) -> bool:
        """Whether every engine has a point of this sort: an intake, an exhaust, a crankcase."""
        return self.walked in ("always", "exhaust", "crankcase")


class Point(msgspec.Struct, frozen=True):
    """A listening point of a round, for example ``tailpipe-left`` or ``plug-hole-3``."""

    id: str
    """Identifier used in file names and JSON."""
    row: PointRow
    neighbour: int | None = None

    @property
    def words(self) -> str:
        return self.row.words.format(n=self.neighbour)

    @property
    def hold(self) -> str:
        """Where to hold the microphone, one sentence or two."""
        return self.row.hold.format(n=self.neighbour)

    @property
    def holds_coolant(self) -> bool:
        """Whether leaking air rises through liquid here: only then are there bubbles to hear."""
        return PathId.COOLANT_PASSAGE in self.row.own


point_rows = rows_of("points", "point", PointRow)
"""All, in walking order."""


@cache
def point(point_id: str) -> Point:
    """Look a point up by its identifier. Raises RoundError: unknown name; the message lists the known ones."""
    if row := next((row for row in point_rows() if row.names(point_id)), None):
        return Point(point_id, row, int(point_id.removeprefix(f"{row.id}-")) if row.numbered else None)
    known = " ".join(row.id + ("-K" if row.numbered else "") for row in point_rows())
    raise RoundError(f"unknown listening point {point_id[:60]!r}; known: {known}")


@cache
def usual_points(known: tuple[str, ...] | None = None) -> Mapping[PathId, Point]:
    """Where each path comes out first on a usual engine, or on one whose points are known.

    None where only a neighbour's number would tell. Raises RoundError: unknown name."""
    found: dict[PathId, Point] = {}
    for p in (Point(row.id, row) for row in point_rows()) if known is None else map(point, known):
        for path in () if p.row.numbered else p.row.own:
            found.setdefault(path, p)
    return found


def walking_order(point_id: str) -> tuple[int, int]:
    p = point(point_id)
    return (point_rows().index(p.row), p.neighbour or 0)


class PathRow(msgspec.Struct, frozen=True):
    path: PathId
    prior: float
    loss_median: float
    """Percent."""
    loss_spread: float
    """Standard deviation of the natural log of the loss."""
    why: str
    wide_open: float = 0.0
    """Share of such leaks that hold as little as an open valve."""


class PathTable(msgspec.Struct, frozen=True):
    cause: tuple[PathRow, ...]
    pair_factor: float
    pair_loss_median: float
    pair_loss_spread: float
    why: str


@cache
def path_table() -> PathTable:
    return table("paths", PathTable)
