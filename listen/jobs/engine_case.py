"""What a job knows about its engine, as the input of the diagnosis."""

from __future__ import annotations

from listen.diagnosis.case import CylinderCase, EngineCase
from listen.jobs.events import Overruled
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import latest_round
from listen.trade.numbers import expected_dry_kpa, limit
from listen.trade.plugs import plugs
from listen.trade.symptoms import symptoms

SAID = 0.95
"""Probability given to what the supervisor decided against the numbers: a person who listened, not a certainty."""
RATIOS = (6.0, 14.0)
"""Compression ratios for which an expected compression is computed (petrol engines)."""


def engine_case(job: Job) -> EngineCase:
    """Gather readings, paths, plugs and symptoms; only what is in the job, nothing assumed."""
    known = {s.id for s in symptoms() if s.scope == "engine"}
    told = tuple(s for s in job.symptoms if s in known)
    altitude = job.reading("altitude")
    return EngineCase(
        engine=job.engine,
        cylinders=tuple(c for n in job.engine.cylinders if (c := cylinder_case(job, n)) != CylinderCase(cylinder=n)),
        symptoms=told,
        symptoms_asked=job.symptoms_asked,
        expected_kpa=_expected(job),
        altitude_m=altitude.si if altitude else 0.0,
        dry_order=_order(job),
    )


def cylinder_case(job: Job, n: int) -> CylinderCase:
    """What the job knows about one cylinder."""
    record = latest_round(job, n)
    own = {s.id for s in symptoms() if s.scope == "cylinder"}
    plug, looks = job.plugs.get(n), {p.id for p in plugs()}
    call = record.call() if record else None
    return CylinderCase(
        cylinder=n,
        dry_kpa=_reading(job, "compression-dry", n),
        dry_first_kpa=_reading(job, "compression-dry-first", n),
        wet_kpa=_reading(job, "compression-wet", n),
        loss_percent=_reading(job, "loss", n),
        loss_again_percent=_reading(job, "loss-again", n),
        paths=_paths(record) if record and stands(job, record) else {},
        heard_at_holes=_holes(record) if record and stands(job, record) else (),
        by_ear=call.paths if record and call and not call.declined and stands(job, record) else (),
        bubbles_seen={"yes": True, "no": False}.get(record.bubbles) if record else None,
        plugs=tuple(c for c in plug.conditions if c in looks) if plug else (),
        found=tuple(s for s in job.found.get(n, ()) if s in own),
    )


def stands(job: Job, record: RoundRecord) -> bool:
    """True where what was heard still belongs to the cylinder as it is now.

    It does not once clips or readings changed after the verdict, nor where the loss has since been read otherwise by
    more than a repeat would: then the round was walked on another set-up.
    """
    own, now = job.reading("loss", round_id=record.id), job.reading("loss", cylinder=record.cylinder)
    moved = own is not None and now is not None and abs(own.si - now.si) > limit("loss_repeat_points")
    return not record.stale and not moved


def _reading(job: Job, name: str, n: int) -> float | None:
    read = job.reading(name, cylinder=n)
    return read.si if read else None


def _paths(record: RoundRecord) -> dict[str, float]:
    """Probability that each path is involved; what the supervisor decided comes before the numbers."""
    said = record.decision.payload if record.decision else None
    if isinstance(said, Overruled):
        return dict.fromkeys(said.paths, SAID)
    if record.verdict is None:
        return {}
    return {p.path: max(p.probability, p.involved) for p in record.verdict.result.paths}


def _holes(record: RoundRecord) -> tuple[int, ...]:
    """Neighbours at whose plug hole more was heard than quiet."""
    if record.verdict is None:
        return ()
    heard = (p.point for p in record.verdict.result.points if p.detected and p.point.startswith("plug-hole-"))
    return tuple(int(point.rsplit("-", 1)[1]) for point in heard)


def _expected(job: Job) -> float | None:
    """The maker's figure, else the one computed from the compression ratio."""
    if (entered := job.reading("compression-expected")) is not None:
        return entered.si
    ratio = job.size.compression_ratio
    return expected_dry_kpa(ratio) if ratio is not None and RATIOS[0] <= ratio <= RATIOS[1] else None


def _order(job: Job) -> tuple[int, ...]:
    """Cylinders in the order their dry compression was first entered."""
    dry = (r.cylinder for r in job.readings if r.reading == "compression-dry" and r.cylinder is not None)
    return tuple(dict.fromkeys(dry))
