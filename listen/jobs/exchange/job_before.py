"""The job as it stood where each event was written, also for events that a merge brought in from another machine."""

from collections.abc import Iterator, Sequence

import msgspec

from listen.jobs.events import Event, Merged
from listen.jobs.fold import fold
from listen.jobs.folder.chain import once
from listen.jobs.folder.journal import Line
from listen.jobs.folder.order import ordered
from listen.jobs.job import Job


class EventAfterJob(msgspec.Struct, frozen=True):
    """An event, and the job that whoever wrote it had before them."""

    event: Event
    job: Job


def with_job_before(lines: Sequence[Line], shared: Sequence[Line] = ()) -> Iterator[EventAfterJob]:
    """Every event of a journal with the job before it; an event told by several branches comes once from each.

    ``shared`` holds the lines before ``lines``, for a branch.
    """
    past = list(shared)
    job = _job(past)
    for line in lines:
        yield EventAfterJob(line.event, job)
        if isinstance(line.event.payload, Merged):
            yield from _branch(line, line.event.payload.fork, past)
        past.append(line)
        job = _job(past) if isinstance(line.event.payload, Merged) else fold([line.event], job)


def _branch(line: Line, fork: str, past: list[Line]) -> Iterator[EventAfterJob]:
    hashes = [one.hash for one in past]
    shared = past[: hashes.index(fork) + 1] if fork in hashes else past
    yield from with_job_before(line.inner, shared)


def _job(lines: Sequence[Line]) -> Job:
    return fold(once(ordered(lines)))
