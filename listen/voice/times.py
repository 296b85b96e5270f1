"""How a moment is said: the journal holds UTC, people read the clock on their wall."""

from datetime import datetime

from listen.voice.text import plain

WITH_TIME, DAY = "%Y-%m-%d %H:%M", "%Y-%m-%d"
"""ISO 8601 forms without zone, for the clock of the place."""


def _local(iso: str) -> datetime | None:
    try:
        return datetime.fromisoformat(iso).astimezone()
    except (ValueError, OverflowError, OSError):
        return None


def moment(iso: str) -> str:
    """A time stamp of the journal on this machine's clock, to the minute; what is no time stamp as it stands."""
    local = _local(iso)
    return plain(iso, 40) if local is None else local.strftime(WITH_TIME)


def moment_and_zone(iso: str) -> str:
    """The same with its distance from UTC, for paper that travels."""
    local = _local(iso)
    if local is None:
        return plain(iso, 40)
    zone = local.isoformat(timespec="minutes")[16:].removesuffix(":00")  # some zones lie half an hour apart
    return f"{local.strftime(WITH_TIME)} (UTC{zone})"


def day(iso: str) -> str:
    local = _local(iso)
    return plain(iso, 40) if local is None else local.strftime(DAY)
