"""A report is one document of plain values, in the order its JSON has; HTML and Markdown are drawn from it. Here stands
what goes beside it: where a page comes from, a reading in words."""

from typing import Any

import msgspec

from listen.jobs.events import ReadingEntered
from listen.report.owner_words import Language
from listen.voice.figures import UNKNOWN, as_read, pressure

Part = dict[str, Any]
"""A part of the document: names and what they stand for, each said once, where it is made."""


class Origin(msgspec.Struct, frozen=True, kw_only=True):
    """Where a page comes from, as it stands in its head, so that it can be made again and compared."""

    job: str
    head: str
    """Hash of the journal's last line when it was made."""
    version: str
    made: str
    """When, UTC, ISO 8601."""
    language: Language
    contact: str = ""
    before: tuple[str, str] | None = None
    """Job and head of the earlier job beside this one."""
    audio: bool = True
    unfolded: bool = False
    hit_rate: tuple[tuple[str, ...], ...] = ()
    """The shop's own record as it was then; it changes with every teardown, and cannot be worked out again."""


def reading_in_words(r: ReadingEntered | None) -> str:
    """A reading as entered, with kPa beside it where it was entered otherwise."""
    if r is None:
        return UNKNOWN
    confirmed = f" (confirmed: {', '.join(r.confirmed)})" if r.confirmed else ""
    return as_read(r.value, r.unit) + (f" ({pressure(r.si)})" if r.unit in ("psi", "bar") else "") + confirmed
