"""The event that stores a round's result with the clips and the program version it came from."""

from importlib.metadata import PackageNotFoundError, version

from listen.jobs.events import Judged
from listen.jobs.job import Job
from listen.jobs.to_round import clips_used
from listen.judge.result import RoundResult


def judged(job: Job, round_id: str, result: RoundResult) -> Judged:
    """Make the event for a result just computed from ``to_round(job, round_id, ...)`` of this same job."""
    return Judged(round_id=round_id, result=result, clips=clips_used(job, round_id), version=program_version())


def program_version() -> str:
    """Version of the program, empty where it runs uninstalled."""
    try:
        return version("hissway")
    except PackageNotFoundError:
        return ""
