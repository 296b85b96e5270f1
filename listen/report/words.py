"""What only a report says of a job, in words; all else is said by ``listen.voice``."""

from listen.jobs.events import ReadingEntered
from listen.voice.figures import UNKNOWN, as_read, pressure


def reading_in_words(r: ReadingEntered | None) -> str:
    """A reading as entered, with kPa beside it where it was entered otherwise."""
    if r is None:
        return UNKNOWN
    confirmed = f" (confirmed: {', '.join(r.confirmed)})" if r.confirmed else ""
    return as_read(r.value, r.unit) + (f" ({pressure(r.si)})" if r.unit in ("psi", "bar") else "") + confirmed
