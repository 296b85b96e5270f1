"""Append-only files of one JSON object a line: on disk when written, a torn last line costs nothing else."""

import os
from pathlib import Path
from typing import BinaryIO, TypeVar

import msgspec

from listen.durable import sync_folder
from listen.errors import LabError, refusal
from listen.jobs.folder.disk import make_folders

T = TypeVar("T", bound=msgspec.Struct)


def append(path: Path, record: msgspec.Struct) -> None:
    """Add a record; it and the file's name are on the disk when this returns. A torn end left by a crash is cut first.

    Raises LabError: the disk is full or the folder cannot be written."""
    line = msgspec.json.encode(record) + b"\n"
    with refusal(LabError, f"{path}: cannot be written", "free some room and try again"):
        make_folders(path.parent)
        new = not path.exists()
        with path.open("ab+") as file:
            _cut_torn_end(file)
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
        if new:
            sync_folder(path.parent)


def _cut_torn_end(file: BinaryIO) -> None:
    file.seek(0)
    data = file.read()
    if data and not data.endswith(b"\n"):
        file.truncate(data.rfind(b"\n") + 1)


def read(path: Path, record: type[T], *, skip: int = 0, stop: int | None = None) -> list[T]:
    """Records of a file from the ``skip``-th up to the ``stop``-th; empty where there is none. A torn end is left out.

    Raises LabError: the file cannot be read, or a line before the last is damaged."""
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        return []
    except OSError as error:
        raise LabError(f"{path}: cannot be read ({error.strerror or error})") from error
    whole: list[bytes] = lines[:-1][skip:stop]
    found: list[T] = []
    for number, line in enumerate(whole, skip + 1):
        try:
            found.append(msgspec.json.decode(line, type=record))
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise LabError(f"{path}: line {number} is damaged ({error}); remove that line to use the rest") from error
    return found
