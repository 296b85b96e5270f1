"""Files that appear whole or not at all, and names that survive a power cut."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO


@contextmanager
def whole_file(path: Path, *, sync: bool = True) -> Iterator[BinaryIO]:
    """A file to fill, under a passing name beside ``path``; it takes that name, in place of what had it, at the end.

    Where anything goes wrong inside, nothing is left behind and ``path`` is as it was. With ``sync``, content and
    name are on the disk when the block is left.

    Raises
    ------
    OSError
        The disk is full, or the folder cannot be written.
    """
    passing = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        with passing.open("wb+") as file:
            yield file
            if sync:
                file.flush()
                os.fsync(file.fileno())
        passing.replace(path)
    finally:
        passing.unlink(missing_ok=True)
    if sync:
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make new names in a folder survive a power cut (where the system has such a thing)."""
    if os.name == "nt":  # Windows cannot open a folder to sync it; NTFS journals its names
        return
    fd = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
