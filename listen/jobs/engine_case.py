"""What a job knows about its engine: as the input of the diagnosis, and what its table works out."""

import math

import msgspec

from listen.diagnosis.case import CylinderCase, EngineCase, Made
from listen.diagnosis.model import Diagnosis
from listen.jobs.answers import JOB_WIDE
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import latest_round, standing
from listen.judge.result import PathResult
from listen.trade.facts import core, facts, plugs, symptoms
from listen.trade.numbers import threshold
from listen.trade.points import PathId, point, point_rows
from listen.trade.units import said_in, unit_named

NO_POINT = ("prior", "unforeseen", "taught")
"""Terms of a path's odds that no reading brought and no point either."""


def diagnosed(job: Job) -> Diagnosis:
    """What the evidence says about the job's engine, every pressure told in the job's unit."""
    from listen.diagnosis.diagnose import diagnose

    # As JSON: pressures stand inside sentences, wherever a table put them.
    text = msgspec.json.encode(diagnose(engine_case(job))).decode()
    return msgspec.json.decode(said_in(text, unit_named(job.pressure_unit)), type=Diagnosis)


def engine_case(job: Job) -> EngineCase:
    """Gather readings, paths, plugs, facts and checks; only what is in the job, nothing assumed."""
    known = {f.id for f in symptoms()}
    told, asked = job.symptoms_of(), job.asked_of()
    dry = [r.cylinder for r in job.readings if r.reading == "compression-dry" and r.cylinder]
    ratio = job.size.compression_ratio
    return EngineCase(
        engine=job.engine,
        cylinders=tuple(c for n in job.engine.cylinders if (c := cylinder_case(job, n)) != CylinderCase(cylinder=n)),
        symptoms=tuple(s for s in told if s in known),
        no=tuple(s for s in asked if s in known and s not in told),
        symptoms_asked=core() <= {*asked, *told},
        figures=({"compression-ratio": ratio} if ratio is not None else {})
        | {f.id: r.si for f in facts().values() if f.of_engine and (r := job.reading(f.id)) is not None},
        dry_order=tuple(dict.fromkeys(dry)),
        made=tuple(Made(m.check, m.outcome, m.cylinder) for m in job.checks),
    )


def cylinder_case(job: Job, n: int) -> CylinderCase:
    record = latest_round(job, n)
    own = {f.id for f in symptoms("cylinder")}
    plug, looks = job.plugs.get(n), {p.id for p in plugs()}
    call = record.call() if record else None
    stands = standing(record) if record else None
    points = record.verdict.result.points if record and record.verdict else ()
    loud = (point(p.point).neighbour for p in points if p.detected)
    decided = stands if stands and stands.how == "overruled" and stands.kind != "unclear" else None
    return CylinderCase(
        cylinder=n,
        figures={r.reading: r.si for r in job.readings if r.cylinder == n} | _of_the_rig(job, n),
        paths=heard(record) if record else {},
        heard_before=heard_before(job, record) if record else "",
        decided=(decided.paths or ("none",)) if decided else (),
        decided_by=decided.name if decided else "",
        heard_at_holes=tuple(n for n in loud if n is not None),
        by_ear=call.paths if call and not call.declined else (),
        bubbles_seen={"yes": True, "no": False}.get(record.bubbles) if record else None,
        plugs=tuple(c for c in plug.conditions if c in looks) if plug else (),
        found=tuple(s for s in job.symptoms_of(n) if s in own),
        absent=tuple(s for s in job.asked_of(n) if s in own and s not in job.symptoms_of(n)),
    )


def heard_before(job: Job, record: RoundRecord) -> str:
    """Why what was heard belongs to an earlier state of the cylinder, in words; empty where it is of now.

    It does once the loss has been read otherwise by more than a repeat would (the round was walked on another set-up)
    or clips changed after the verdict. It is kept and counts by half; another kind of reading leaves it as it is.
    """
    now = job.reading("loss", cylinder=record.cylinder)
    if now is not None and (then := loss_then(job, record)) is not None:
        return f"heard at a loss of {then:g} %, since read as {now.si:g} %"
    return "clips changed since it was judged" if record.clips_changed else ""


def loss_then(job: Job, record: RoundRecord) -> float | None:
    """Loss read in a round, percent, where the cylinder's has been read otherwise since; else None."""
    own, now = job.reading("loss", round_id=record.id), job.reading("loss", cylinder=record.cylinder)
    apart = own is not None and now is not None and abs(own.si - now.si) > threshold("loss_repeat_points")
    return own.si if own is not None and apart else None


def heard(record: RoundRecord) -> dict[str, float]:
    """Probability that each path is at work by what the microphone heard: the prior and the points, no reading.

    Readings count once, over the whole engine. Of set-up the loss is half the sign, so that its odds are taken whole.
    """
    if record.verdict is None:
        return {}
    result = record.verdict.result
    points = {p.point for p in result.points}
    loud = {path for p in result.points if p.detected for row in point_rows() if row.names(p.point) for path in row.own}
    named: dict[str, float] = {}
    for p in result.paths:
        share = max(p.probability, p.involved) if p.path == PathId.SET_UP else _by_points(p, points)
        named[p.path] = share if p.path not in _WITH_POINTS or p.path in loud else min(share, QUIET)
    return named


QUIET = 0.5
"""Most that a path may have whose own points were all quiet: what is printed as heard was heard."""


_WITH_POINTS = frozenset(path for row in point_rows() for path in row.own)


def _by_points(p: PathResult, points: set[str]) -> float:
    terms = [db for name, db in p.evidence_db.items() if name in NO_POINT or name in points]
    if not terms:
        return max(p.probability, p.involved)
    # Held where a probability is nought to any eye: points may speak by thousands, and their power leaves a double.
    odds = max(sum(terms), -300.0) / 10 * math.log(10)
    return 1 / (1 + math.exp(-odds))


def _of_the_rig(job: Job, n: int) -> dict[str, float]:
    """What was noted of the tester with the cylinder's loss, else the latest on the job."""
    if (loss := job.reading("loss", cylinder=n)) is None:
        return {}
    both = ((loss.round_id and job.reading(name, round_id=loss.round_id)) or job.reading(name) for name in JOB_WIDE)
    return {read.reading: read.si for read in both if read}


def under_way(job: Job, n: int) -> RoundRecord | None:
    """A round of a cylinder that was begun after the one that counts, and is not judged yet."""
    record, begun = latest_round(job, n), [r for r in job.rounds_of(n) if r.begun and not r.aside]
    return begun[-1] if record and record.verdict and begun[-1] is not record else None


def dry_shares(job: Job) -> dict[int, float]:
    """By cylinder the dry reading over the highest one, 0 to 1."""
    dry = {n: r.si for n in job.engine.cylinders if (r := job.reading("compression-dry", n))}
    # Against the highest, as the trade compares them; the diagnosis knows when that one stands out itself.
    highest = max(dry.values(), default=0.0)
    return {n: kpa / highest for n, kpa in dry.items() if highest > 0}


def wet_rise_kpa(job: Job, n: int) -> float | None:
    dry, wet = job.reading("compression-dry", n), job.reading("compression-wet", n)
    return wet.si - dry.si if wet and dry else None
