"""Another point than the one that is due: the clip step it would be, in the walk that is under way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from listen.jobs.walk import Step, all_steps
from listen.trade.cautions import cautions_for
from listen.trade.points import point

if TYPE_CHECKING:
    from listen.jobs.job import Job

WALKS_BACK = ("closing", "air", "quiet")
BEYOND = {
    "sound": "Air on a sound cylinder of this engine, at its top dead centre, full pressure.",
    "shut": "Supply on, cylinder side shut off: only hose and tester may hiss.",
}


def aimed(job: Job, round_id: str, at: str, kind: str, due: Step) -> Step:
    """The clip step at a point: of the kind asked for, else in the walk of ``due``, else in the last walk begun."""
    steps = {s.walk: s for s in all_steps(job, round_id) if s.kind == "clip" and s.point == at}
    if kind:
        chosen = next((s for s in steps.values() if s.clip_kind == kind), None) or _beyond(at, kind)
    elif due.kind == "clip" and due.walk in steps:
        chosen = steps[due.walk]
    else:
        record = job.round(round_id)
        begun = next((w for w in WALKS_BACK if w in steps and record.live_clips(walk=w)), None)
        chosen = steps[begun] if begun else due
    return msgspec.structs.replace(chosen, state="due")


def _beyond(at: str, kind: str) -> Step:
    """A clip that is in no walk: a sound cylinder's, or one with the cylinder side shut off."""
    p = point(at)
    return Step(
        id="wanted",
        kind="clip",
        sentence=f"{BEYOND.get(kind, kind)} Clip at the {p.words}.",
        point=p.id,
        walk="reference",
        clip_kind=kind,
        hold=p.hold,
        cautions=cautions_for("air-on"),
    )
