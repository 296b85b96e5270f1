"""What a disk may hold after the power went at some point of a log: synced data for sure, the rest as chance has it.

The rules are harsher than common file systems: file data count only once the file was synced, names only once their
folder was synced; of what came later any writes may be there, whole or torn, in any order, and the names up to any
point.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.crash.power_log import ROOT, Op

TORN = 0.3
"""Share of writes not yet synced of which only the beginning is there."""


Names = dict[int, dict[str, tuple[str, int]]]
"""Entries of each folder by its number: name to (``file`` or ``folder``, number)."""


def after_power_loss(ops: Sequence[Op], rng: random.Random, to: Path) -> None:
    """Build in the empty folder ``to`` one state of the disk that ``ops`` allow."""
    fate = rng.choice((0.0, 0.5, 0.5, 1.0))
    folders = _names(ops, rng, fate)
    contents = _contents(ops, rng, fate)
    _build(ROOT, to, folders, contents)


def _names(ops: Sequence[Op], rng: random.Random, fate: float) -> Names:
    """Entries of each folder on the disk.

    After its last sync a folder keeps each further change with the chance ``fate``, and none after one it lost.
    """
    last_sync = {op.args[0]: i for i, op in enumerate(ops) if op.what == "sync-folder"}
    memory: Names = {}
    disk: Names = {ROOT: {}}
    stale: set[int] = set()
    for i, op in enumerate(ops):
        if op.what not in ("link", "folder", "unlink", "rename"):
            continue
        entry = _entry(op, memory)
        _apply(op, entry, memory)
        folder = op.args[2] if op.what == "rename" else op.args[0]
        if i > last_sync.get(folder, -1) and (folder in stale or rng.random() >= fate):
            stale.add(folder)
        else:
            _apply(op, entry, disk)
    return disk


def _entry(op: Op, memory: Names) -> tuple[str, int] | None:
    """What the name stands for as the program sees it; a renamed thing is what it is, on the disk by then or not."""
    if op.what in ("link", "folder"):
        return ("folder" if op.what == "folder" else "file", op.args[2])
    return memory.get(op.args[0], {}).get(op.args[1])


def _apply(op: Op, entry: tuple[str, int] | None, names: Names) -> None:
    here = names.setdefault(op.args[0], {})
    if op.what in ("unlink", "rename"):
        here.pop(op.args[1], None)
    if op.what == "rename" and entry is not None:
        names.setdefault(op.args[2], {})[op.args[3]] = entry
    elif op.what in ("link", "folder") and entry is not None:
        here[op.args[1]] = entry


def _contents(ops: Sequence[Op], rng: random.Random, fate: float) -> dict[int, bytearray]:
    """Bytes of each file by number."""
    last_sync = {op.args[0]: i for i, op in enumerate(ops) if op.what == "sync"}
    files: dict[int, bytearray] = {}
    for i, op in enumerate(ops):
        if op.what not in ("write", "truncate"):
            continue
        number = op.args[0]
        data = files.setdefault(number, bytearray())
        sure = i < last_sync.get(number, -1)
        if sure or rng.random() < fate:
            _change(data, op, whole=sure or rng.random() > TORN, rng=rng)
    return files


def _change(data: bytearray, op: Op, *, whole: bool, rng: random.Random) -> None:
    if op.what == "truncate":
        size = op.args[1]
        del data[size:]
        data.extend(bytes(size - len(data)))
        return
    at, new = op.args[1], op.args[2]
    if not whole:
        new = new[: rng.randrange(len(new) + 1)]
    data.extend(bytes(max(0, at - len(data))))
    data[at : at + len(new)] = new


def _build(number: int, to: Path, folders: Names, contents: dict[int, Any]) -> None:
    for name, (sort, inner) in folders.get(number, {}).items():
        if sort == "folder":
            (to / name).mkdir()
            _build(inner, to / name, folders, contents)
        else:
            (to / name).write_bytes(contents.get(inner, b""))
