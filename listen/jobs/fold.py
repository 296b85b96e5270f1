"""From events to a job: one small rule for each kind of event, applied in order."""

from collections.abc import Iterable, Sequence

from msgspec.structs import replace

from listen.errors import HisswayError
from listen.jobs import events as ev
from listen.jobs.conflicts import conflicts
from listen.jobs.cover import with_references
from listen.jobs.job import Job
from listen.jobs.job_rules import JOB_RULES
from listen.jobs.note_change import kind_of, trouble
from listen.jobs.round_rules import ROUND_RULES

RULES = {**JOB_RULES, **ROUND_RULES}
"""What each kind of event does to the job; every row of ``events.KINDS`` has one."""


def fold(events: Iterable[ev.Event], job: Job | None = None) -> Job:
    """Apply events in order to ``job`` (a new one if not given). Pure: the same events give the same job.

    Events that were withdrawn are passed over, so a withdrawal needs all events, not a job that has them already.
    """
    job, every = job or Job(), tuple(events)
    gone = withdrawn(every)
    since: set[str] = set()  # passed over since the latest verdict: their withdrawal leaves it as it was judged
    for event in every:
        if event.id in gone:
            since.add(event.id)
            job = _counted(job, event)
            continue
        before, job, payload = job, apply(job, event), event.payload
        if isinstance(payload, ev.Judged):
            since.clear()
        elif isinstance(payload, ev.Withdrawn) and payload.event in since:
            job = _as_judged(job, before)
    if any(event.past is not None for event in every):  # only where journals were merged, and then from the first on
        job = replace(job, troubles=(*job.troubles, *conflicts(every)))
    return job


def _as_judged(job: Job, before: Job) -> Job:
    """Rounds are to be judged again only where they were to be before."""
    return replace(
        job,
        rounds=tuple(
            replace(r, readings_changed=was.readings_changed) for r, was in zip(job.rounds, before.rounds, strict=True)
        ),
    )


def withdrawn(events: Sequence[ev.Event]) -> dict[str, ev.Event]:
    """Events that count no more, by id, each with the withdrawal that says so. The last word on each counts."""
    gone: dict[str, ev.Event] = {}
    kinds = {e.id: type(e.payload) for e in events}
    for event in reversed(events):
        p = event.payload
        if isinstance(p, ev.Withdrawn) and event.id not in gone and kinds.get(p.event) in ev.MAY_BE_WITHDRAWN:
            gone.setdefault(p.event, event)
    return gone


def apply(job: Job, event: ev.Event) -> Job:
    """The job after one more event. An event that makes no sense here is told among the troubles, never raised."""
    rule = RULES.get(type(event.payload))
    if rule is not None:
        try:
            job = with_references(job, rule(job, event.payload, event), event)
        except KeyError as e:
            job = trouble(job, f"event {event.id} ({kind_of(event)}) speaks of {e}, which this job does not have")
        except (ArithmeticError, HisswayError, LookupError, TypeError, ValueError) as e:
            job = trouble(job, f"event {event.id} ({kind_of(event)}) cannot be understood ({type(e).__name__}: {e})")
    return _counted(job, event)


def _counted(job: Job, event: ev.Event) -> Job:
    return replace(
        job,
        events=job.events + 1,
        opened=job.opened or event.time,
        changed=event.time,
    )
