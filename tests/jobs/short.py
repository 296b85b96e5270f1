"""What tests of a job say often: a round begun, the words of its notes."""

from __future__ import annotations

from listen.jobs.events import NoteAdded
from listen.jobs.folder.open_job import OpenJob, new_round
from listen.jobs.job import Job


def begin_round(job: OpenJob, cylinder: int, title: str = "") -> str:
    """Begin a round on a cylinder; gives its id."""
    begun = new_round(cylinder, title)
    job.append(begun)
    return begun.round_id


def note_texts(job: Job) -> tuple[str, ...]:
    """The notes' words, in order."""
    return tuple(n.payload.text for n in job.notes if isinstance(n.payload, NoteAdded))
