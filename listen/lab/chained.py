"""A learner's answers as a chain: each line's sum covers the one before, so that no edit is silent."""

import hashlib
from pathlib import Path

import msgspec

from listen.errors import LabError
from listen.lab import records

START = hashlib.sha256(b"hissway.lab-session/2").hexdigest()
"""What the first line's sum follows."""


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """One line."""

    record: msgspec.Raw
    sum: str
    """SHA-256 of the sum before and of the record's bytes."""


def _sum(before: str, record: bytes) -> str:
    return hashlib.sha256(before.encode() + record).hexdigest()


def append(path: Path, record: msgspec.Struct, before: str) -> str:
    """Add a record after the line whose sum is ``before``; gives its own sum once it is on the disk.

    Raises
    ------
    LabError
        As :func:`listen.lab.records.append`.
    """
    raw = msgspec.json.encode(record)
    link = Link(record=msgspec.Raw(raw), sum=_sum(before, raw))
    records.append(path, link)
    return link.sum


def read(path: Path) -> list[Link]:
    """All lines of a file, each held against the one before; empty where there is none.

    Raises
    ------
    LabError
        The file cannot be read, a line is damaged, or does not follow the one before it.
    """
    links, before = records.read(path, Link), START
    for number, link in enumerate(links, 1):
        if link.sum != _sum(before, bytes(link.record)):
            raise LabError(
                f"{path}: line {number} does not follow the line before it: it was changed, dropped or put in after "
                "it was written; take the file from a backup, or move it away to go on without it"
            )
        before = link.sum
    return links
