"""How common each cause is and what loss it shows, read from ``causes.toml``."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

import msgspec

from listen.trade.points import PathId


class CauseRow(msgspec.Struct, frozen=True):
    """One cause."""

    path: PathId
    prior: float
    loss_median: float
    """Percent."""
    loss_spread: float
    """Standard deviation of the natural log of the loss."""
    why: str


class CauseTable(msgspec.Struct, frozen=True):
    """The table."""

    cause: tuple[CauseRow, ...]
    pair_factor: float
    pair_loss_median: float
    pair_loss_spread: float
    why: str


@cache
def cause_table() -> CauseTable:
    """The whole table."""
    data = tomllib.loads(files("listen.trade").joinpath("causes.toml").read_text("utf-8"))
    return msgspec.convert(data, CauseTable)
