"""Reads the tables of the trade: TOML files beside this module, and the rows a shop puts in their place or beside them.

A shop's own rows stand in one file of its own (see :func:`shop_file`), with blocks named as in the tables::

    [[evidence]]
    id = "one-low"
    for = { exhaust-valve = 9 }

A row with the id of one of ours replaces the fields it gives; any other is a row more. What a shop changed is told with
every diagnosis. Safety is not up for change: cautions and contradictions are read from our tables alone.
"""

import os
import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Protocol, TypeVar

import msgspec

from listen.durable import read_file
from listen.errors import HisswayError


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """What most rows of the tables have."""

    id: str
    words: str
    sources: tuple[str, ...]
    """Rows of ``sources.toml``."""


class Named(Protocol):
    @property
    def id(self) -> str: ...


Form = TypeVar("Form")
NamedForm = TypeVar("NamedForm", bound=Named)
SHOP = "SHOP"
"""Source given to every row a shop wrote."""
SHOP_MAY = ("cause", "check", "evidence", "fact", "number", "plug", "threshold")
"""Blocks that a shop may correct."""
MAX_BYTES = 1_000_000


_misfits: dict[str, str] = {}
"""Rows of the shop that did not fit when their table was read, each with a sentence."""


@cache
def read_table(name: str) -> dict[str, Any]:
    """Whole file ``<name>.toml`` as plain values."""
    return tomllib.loads(files("listen.trade").joinpath(f"{name}.toml").read_text("utf-8"))


def table(name: str, form: type[Form]) -> Form:
    """Whole file ``<name>.toml`` in its form."""
    return msgspec.convert(read_table(name), form)


def rows(name: str, block: str, form: type[Form]) -> tuple[Form, ...]:
    """Blocks ``[[block]]`` of ``<name>.toml`` in the order written, a shop's own among and behind them."""
    # Converted only once a shop's fields lie over ours: a row of the shop may give a single one.
    ours = read_table(name)[block]
    mine = _shop()[0].get(block, []) if block in SHOP_MAY else []
    if not mine:
        return tuple(msgspec.convert(row, form) for row in ours)
    made = []
    for row in _merged(ours, mine):
        try:
            made.append(msgspec.convert(row, form))
        except msgspec.ValidationError as e:
            _misfits[f"{block} {row['id']}"] = f"row {block} {row['id']} of {shop_file().name} does not count: {e}"
            # Ours stands in for it: a slip in the shop's file takes no row away.
            made += [msgspec.convert(r, form) for r in ours if r["id"] == row["id"]]
    return tuple(made)


def rows_of(name: str, block: str, form: type[Form]) -> Callable[[], tuple[Form, ...]]:
    """The same, read when first asked for."""
    return cache(lambda: rows(name, block, form))


def by_id(name: str, block: str, form: type[NamedForm]) -> Callable[[], dict[str, NamedForm]]:
    """The same by identifier, in the order of the table."""
    return cache(lambda: {row.id: row for row in rows(name, block, form)})


def row_named(known: Mapping[str, Form], name: str, what: str, refused: type[HisswayError], or_else: str = "") -> Form:
    """A row by its identifier; where there is none, ``refused`` is raised with the known ones."""
    if name not in known:
        raise refused(f"unknown {what} {name[:60]!r}; known: {' '.join(known)}{or_else}")
    return known[name]


def _merged(ours: list[dict[str, Any]], mine: list[dict[str, Any]]) -> list[dict[str, Any]]:
    own = {row["id"]: {**row, "sources": [SHOP]} for row in mine}
    known = {row["id"] for row in ours}
    return [{**row, **own.get(row["id"], {})} for row in ours] + [r for id, r in own.items() if id not in known]


def shop_file() -> Path:
    """Where a shop's own rows stand: ``HISSWAY_ROWS``, else ``shop-rows.toml`` in the user's configuration folder."""
    if named := os.environ.get("HISSWAY_ROWS"):
        return Path(named)
    import platformdirs

    return platformdirs.user_config_path("hissway", appauthor=False) / "shop-rows.toml"


def shop_rows() -> tuple[str, ...]:
    """Every row a shop wrote, as ``evidence one-low``; told wherever a diagnosis is."""
    written = [f"{block} {row['id']}" for block, mine in _shop()[0].items() for row in mine]
    return tuple(name for name in written if name not in _misfits)


def shop_trouble() -> str:
    """What is wrong with the shop's file, in one sentence; empty where nothing is."""
    return " ".join([*([_shop()[1]] if _shop()[1] else []), *_misfits.values()])


@cache
def _shop() -> tuple[dict[str, list[dict[str, Any]]], str]:
    """The shop's rows by block, and what is wrong with the file. A file that is wrong changes nothing."""
    path = shop_file()
    try:
        data = tomllib.loads(read_file(path, MAX_BYTES).decode("utf-8"))
    except FileNotFoundError:
        return {}, ""
    except (OSError, ValueError, RecursionError) as e:  # too large, not UTF-8, not TOML, brackets for ever
        return {}, f"{path.name} cannot be read ({e}); the shop's own rows do not count until it is mended"
    for block, mine in data.items():
        if block not in SHOP_MAY:
            return {}, f"{path.name}: a shop may write rows {', '.join(SHOP_MAY)}, not {block!r}; none of it counts"
        if not isinstance(mine, list) or not all(isinstance(r, dict) and isinstance(r.get("id"), str) for r in mine):
            return {}, f"{path.name}: every [[{block}]] needs an id; none of it counts until it has one"
    return data, ""
