"""How common each escape path is and what loss it shows, read from ``paths.toml``."""

from functools import cache

import msgspec

from listen.trade.points import PathId
from listen.trade.tables import table


class PathRow(msgspec.Struct, frozen=True):
    """One cause."""

    path: PathId
    prior: float
    loss_median: float
    """Percent."""
    loss_spread: float
    """Standard deviation of the natural log of the loss."""
    why: str


class PathTable(msgspec.Struct, frozen=True):
    """The table."""

    cause: tuple[PathRow, ...]
    pair_factor: float
    pair_loss_median: float
    pair_loss_spread: float
    why: str


@cache
def path_table() -> PathTable:
    """The whole table."""
    return table("paths", PathTable)
