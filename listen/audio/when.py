"""When recordings were made: from what stands in the file, else from its name, else from the disk; and their order."""

import re
import struct
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from listen.audio.files import sound_info
from listen.audio.headers import chunk
from listen.errors import ClipError

_IN_NAME = re.compile(r"(20\d\d)[-_. ]?(\d\d)[-_. ]?(\d\d)[-_. T]{0,3}(\d\d)[-_.:h ]?(\d\d)(?:[-_.:m ]?(\d\d))?")
"""Date and time as recorders write them into names, with or without signs between."""
_DIGITS = re.compile(r"(\d+)")


def time_in_file(path: Path) -> datetime | None:
    """When a recording says it was made: our own note, a phone's creation time, a broadcast chunk, a date comment."""
    try:
        found = sound_info(path)
        # OriginationDate and OriginationTime of a Broadcast Wave file (EBU Tech 3285).
        told = chunk(path, b"bext", 338)[320:338].decode("ascii", "replace")
        return found.particulars.get("taken") or _moment(found.date) or _moment(told)
    except (OSError, ClipError, struct.error):
        return None


def time_in_name(path: Path) -> datetime | None:
    found = _IN_NAME.search(path.stem)
    try:
        return datetime(*(int(part or 0) for part in found.groups())) if found else None  # type: ignore[arg-type]
    except ValueError:  # 20260231: no such day
        return None


def time_on_disk(path: Path) -> datetime | None:
    """When the file was last written, which a copy may have changed."""
    try:
        return datetime.fromtimestamp(path.stat().st_mtime, UTC)
    except (OSError, OverflowError, ValueError):
        return None


SOURCES: tuple[tuple[str, Callable[[Path], datetime | None]], ...] = (
    ("as the files say", time_in_file),
    ("as their names say", time_in_name),
    ("as they lie on the disk", time_on_disk),
)
"""The first of these that speaks for every file orders them: times of two sorts do not mix."""


def in_order(paths: Sequence[Path]) -> tuple[str, list[tuple[Path, datetime | None]]]:
    """Recordings in order of time with their times, and in words where those come from.

    Where two have one time, or none has any, names count, with numbers in them as numbers.
    """
    for words, ask in SOURCES:
        times = [ask(path) for path in paths]
        if all(t is not None for t in times):
            pairs = sorted(
                zip(paths, times, strict=True), key=lambda p: (p[1].timestamp() if p[1] else 0.0, natural(p[0]))
            )
            return words, pairs
    return "by name", [(path, None) for path in sorted(paths, key=natural)]


def natural(path: Path) -> tuple[tuple[str, int], ...]:
    """Sort key by which *recording 2* comes before *recording 10*."""
    parts = _DIGITS.split(path.name.casefold())
    return tuple((part, 0) if n % 2 == 0 else ("", int(part[:18])) for n, part in enumerate(parts))


def _moment(text: str) -> datetime | None:
    """A text that is a date with a time."""
    try:
        return datetime.fromisoformat(text.strip()) if "T" in text or ":" in text else None
    except ValueError:
        return time_in_name(Path(text))
