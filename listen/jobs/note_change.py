"""What all rules of the fold share: finding a round, and noting on it that an event concerned it."""

from collections.abc import Callable
from typing import Any

from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.job import Change, Job, RoundRecord, Stamped

Rule = Callable[[Job, Any, ev.Event], Job]
"""The job after an event: job before, the event's payload, the event."""


def kind_of(event: ev.Event) -> str:
    return ev.KIND_OF.get(type(event.payload), "unknown")


def trouble(job: Job, sentence: str) -> Job:
    return replace(job, troubles=(*job.troubles, sentence))


def stamped(event: ev.Event) -> Stamped:
    return Stamped(event=event.id, time=event.time, actor=event.actor, payload=event.payload)


def note_change(record: RoundRecord, event: ev.Event, what: str = "") -> RoundRecord:
    """Note that an event concerns a round, in words if the kind alone says too little.

    On a signed round that is a change since, unless whoever signed had not seen it: then that is told.
    """
    change = Change(
        what=what or kind_of(event).replace("-", " "), actor=event.actor, time=event.time, place=event.place
    )
    record = replace(record, touches=(*record.touches, change))
    if not record.signed:
        return record
    knew = any(event.knew_of(place) for place in record.signed_at)
    names = () if knew else tuple(dict.fromkeys(s.name for s in record.signatures))
    return replace(record, changes=(*record.changes, replace(change, not_seen_by=names)))


def with_round(job: Job, round_id: str, event: ev.Event, change: Callable[[RoundRecord], RoundRecord]) -> Job:
    """Change one round, noting that the event concerned it; ``KeyError`` where there is no such round."""
    job.round(round_id)  # KeyError where the round is not known
    rounds = tuple(change(note_change(r, event)) if r.id == round_id else r for r in job.rounds)
    return replace(job, rounds=rounds)


def note_change_where(job: Job, event: ev.Event, concerns: Callable[[RoundRecord], bool], what: str = "") -> Job:
    return replace(job, rounds=tuple(note_change(r, event, what) if concerns(r) else r for r in job.rounds))
