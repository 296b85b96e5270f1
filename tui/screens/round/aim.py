"""Another point than the one that is due: the clip step it would be, in the walk that is under way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from listen.jobs.walk import Step, all_steps

if TYPE_CHECKING:
    from listen.jobs.job import Job

WALKS_BACK = ("closing", "air", "quiet")


def aimed(job: Job, round_id: str, point: str, due: Step) -> Step:
    """The clip step at ``point``: in the walk of ``due`` if that is a clip, else in the last walk begun there."""
    steps = {s.walk: s for s in all_steps(job, round_id) if s.kind == "clip" and s.point == point}
    if due.kind == "clip" and due.walk in steps:
        return msgspec.structs.replace(steps[due.walk], state="due")
    record = job.round(round_id)
    begun = next((w for w in WALKS_BACK if w in steps and record.live_clips(walk=w)), None)
    return msgspec.structs.replace(steps[begun], state="due") if begun else due


def neighbour_point(points: tuple[str, ...], here: str, by: int) -> str:
    """The point above or below on the ladder."""
    at = points.index(here) if here in points else 0 if by > 0 else len(points)
    return points[min(max(at + by, 0), len(points) - 1)]
