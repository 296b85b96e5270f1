"""Reads a table of the trade: a TOML file beside this module, each block checked against its form."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

import msgspec

Row = TypeVar("Row")


@cache
def read_table(name: str) -> dict[str, Any]:
    """Whole file ``<name>.toml`` as plain values."""
    return tomllib.loads(files("listen.trade").joinpath(f"{name}.toml").read_text("utf-8"))


def rows(name: str, block: str, form: type[Row]) -> tuple[Row, ...]:
    """Blocks ``[[block]]`` of ``<name>.toml`` in the order written."""
    return tuple(msgspec.convert(row, form) for row in read_table(name)[block])
