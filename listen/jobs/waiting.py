"""What of a job waits for a supervisor, or was sent back and waits for the tech; nothing here tells a verdict."""

from typing import Literal

import msgspec

from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import Standing, latest_round, standing

Why = Literal["again", "disputed", "changed", "to-decide", "sent-back"]
ORDER: tuple[Why, ...] = ("again", "disputed", "changed", "to-decide", "sent-back")
"""Who was asked for something and has answered comes first; what was asked for and has not come is the tech's."""


class Waiting(msgspec.Struct, frozen=True, kw_only=True):
    """One round that somebody waits for."""

    round_id: str
    cylinder: int
    why: Why
    since: str
    """Time of what last touched the round, UTC, ISO 8601."""
    recorded_by: str = ""
    asked_by: str = ""
    """Who sent it back, where it was."""


def waiting(job: Job) -> tuple[Waiting, ...]:
    """The rounds that count and wait, cylinder by cylinder. Pure."""
    records = (r for n in job.engine.cylinders if (r := latest_round(job, n)) is not None)
    return tuple(
        Waiting(
            round_id=record.id,
            cylinder=record.cylinder,
            why=why,
            since=record.touches[-1].time if record.touches else record.opened,
            recorded_by=next((c.actor for c in reversed(record.clips) if c.actor), job.people.get("tech", "")),
            asked_by=stands.name if stands.how == "sent-back" else "",
        )
        for record in records
        if (why := _why(record, stands := standing(record)))
    )


def _why(record: RoundRecord, stands: Standing) -> Why | None:
    if stands.disputed:
        return "disputed"
    if stands.how == "sent-back":
        return "again" if stands.request_met else "sent-back"
    if record.signed and stands.changed:
        return "changed"
    return "to-decide" if stands.waits and not record.signed else None
