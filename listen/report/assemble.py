"""Gathers everything a report says from a job folder into one document (schema ``hissway.report/2``)."""

from collections.abc import Iterable, Sequence

from listen.diagnosis.model import CylinderStanding, Fault
from listen.jobs import events as ev
from listen.jobs.engine_case import diagnosed, heard_before
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import latest_round
from listen.report.before_part import before_part
from listen.report.content import Origin, Part, reading_in_words
from listen.report.kept_parts import clip_parts, photo_parts, signature_parts
from listen.report.owner import Behind, owner_part
from listen.report.owner_words import OwnerWords
from listen.report.round_part import round_part
from listen.same_fields import same_fields
from listen.trade.cautions import cautions, defer_to_others, told_in
from listen.trade.engine import layout_rows
from listen.trade.numbers import numbers
from listen.voice import figures, names, times, verdicts

SCHEMA = "hissway.report/2"
TESTING = (ev.ReadingEntered, ev.ClipKept, ev.PlugSeen, ev.BubblesLooked, ev.SymptomNoted, ev.SymptomsAsked)
MOST_DAYS = 4
"""More days are told by the first and the last."""


def assemble(opened: OpenJob, origin: Origin, before: Job | None = None) -> Part:
    """Everything the report of a job says; ``before`` is an earlier job on the same engine."""
    job = opened.job
    d = diagnosed(job)
    clips = clip_parts(job, opened.folder)
    in_use = {c.id for r in job.rounds for c in r.clips if not c.taken_back}
    files = {c["clip"]: c["file"] for c in clips}
    signatures = _held_over_clips(job, signature_parts(opened.chain), files)
    rounds = tuple(round_part(job, r, signatures.get(r.id, ()), files) for r in job.rounds if r.begun)
    altered = sum(files[c] != "matches" for c in in_use)
    days = days_of_testing(opened.chain.events())
    behind = Behind(job, rounds, days, before, altered, bool(opened.broken), origin.contact)
    return dict(
        schema=SCHEMA,
        job=job.id,
        **same_fields(job, "title", "shop", "complaint", "simulated"),
        # Those on which something was read, seen or recorded.
        days=days,
        made=times.moment_and_zone(origin.made),
        version=origin.version,
        engine=job.engine,
        engine_words=_engine_words(job),
        people=tuple(job.people.items()),
        symptoms=tuple(names.symptom_name(s) for s in job.symptoms_of()),
        notes=tuple(_note(n) for n in job.notes),
        cylinders=tuple(_cylinder(job, c, d.faults) for c in d.cylinders),
        diagnosis=d,
        owner=owner_part(d, behind, OwnerWords(origin.language)),
        photos=photo_parts(job),
        rounds=_leaking_first(rounds, d.faults),
        cautions=tuple((c.step, c.words) for c in told_in(job.pressure_unit, cautions())),
        defer=defer_to_others(),
        # Rules of thumb: item, figures, use.
        numbers=tuple((n.item, n.figures, n.use) for n in numbers()),
        microphone=_microphone(job),
        clips=clips,
        # Clips in use that are not the recorded ones, or are gone.
        altered=altered,
        journal_head=opened.chain.head,
        events=job.events,
        # Without the place on this machine where the job lies.
        troubles=tuple(t.replace(str(opened.folder), opened.folder.name) for t in (*job.troubles, opened.broken) if t),
        before=before_part(before, job) if before else None,
        # Where no symptom was noted: whether they were asked at all.
        symptoms_asked=job.symptoms_asked,
        # The shop's own record: rows of a table, the first one its heading.
        hit_rate=origin.hit_rate,
    )


def days_of_testing(events: Iterable[ev.Event]) -> str:
    """The local days on which something was read, seen or recorded; what was signed later is no test."""
    stamps = (
        e.payload.started or e.time if isinstance(e.payload, ev.ClipKept) else e.time
        for e in events
        if isinstance(e.payload, TESTING)
    )
    days = sorted({times.day(stamp) for stamp in stamps})
    if len(days) > MOST_DAYS:
        return f"{days[0]} \N{EN DASH} {days[-1]}"
    return ", ".join(days) or figures.UNKNOWN


def _leaking_first(rounds: tuple[Part, ...], faults: Sequence[Fault]) -> tuple[Part, ...]:
    """Rounds of a cylinder with a fault, newest first; then the others as they came."""
    leaking = [n for f in faults for n in f.cylinders]
    first = [r for n in dict.fromkeys(leaking) for r in reversed(rounds) if r["cylinder"] == n]
    return (*first, *(r for r in rounds if r not in first))


def _held_over_clips(
    job: Job, signatures: dict[str, tuple[Part, ...]], files: dict[str, str]
) -> dict[str, tuple[Part, ...]]:
    """Signatures, none of them called good over clips that are not the recorded ones."""
    held = dict(signatures)
    for record in job.rounds:
        if count := sum(files[c.id] != "matches" for c in record.live_clips()):
            but = f"; but {count} clip(s) under it are not the ones recorded, so it does NOT hold for this report"
            signed = signatures.get(record.id, ())
            held[record.id] = tuple({**s, "state": "bad", "held_by": s["held_by"] + but} for s in signed)
    return held


def _engine_words(job: Job) -> tuple[tuple[str, str], ...]:
    e, size = job.engine, job.size
    layouts = {row.id: row.words for row in layout_rows()}
    rows = [
        ("Engine", e.name or layouts.get(e.layout, e.layout)),
        ("Layout", layouts.get(e.layout, f"{len(e.cylinders)} cylinders in {len(e.rows)} row(s)") if e.name else ""),
        ("Numbering", " / ".join("-".join(map(str, row)) for row in e.rows) + ", each row from the front end"),
        ("Firing order", "-".join(map(str, e.firing_order)) if e.firing_order else "not known"),
        ("Cooling", "liquid" if e.cooling == "liquid" else "air"),
        ("Displacement", f"{size.displacement_cc:g} cc" if size.displacement_cc else ""),
        ("Bore", f"{size.bore_mm:g} mm" if size.bore_mm else ""),
        ("Compression ratio", f"{size.compression_ratio:g}" if size.compression_ratio else ""),
        ("Remarks", size.text),
    ]
    return tuple((name, value) for name, value in rows if value)


def _note(n: ev.Event) -> str:
    assert isinstance(n.payload, ev.NoteAdded)
    where = "" if n.payload.cylinder is None else f" (cylinder {n.payload.cylinder})"
    return f"{times.moment_and_zone(n.time)}{', ' + n.actor if n.actor else ''}{where}: {n.payload.text}"


def _cylinder(job: Job, standing: CylinderStanding, faults: tuple[Fault, ...]) -> Part:
    n = standing.cylinder
    record = latest_round(job, n)
    call = record.call() if record else None
    plug, found = job.plugs.get(n), job.findings.get(n)
    listened = record and record.verdict and not heard_before(job, record)  # none is sound that nobody listened to
    dry, wet, loss = (
        reading_in_words(job.reading(r, cylinder=n)) for r in ("compression-dry", "compression-wet", "loss")
    )
    return {
        "cylinder": n,
        "dry": dry,
        "wet": wet,
        "loss": loss,
        "plug": names.plug_looks(plug.conditions, plug.text) if plug else figures.UNKNOWN,
        "by_ear": figures.UNKNOWN if call is None else "declined" if call.declined else names.paths(call.paths),
        "heard": _heard(job, record),
        "decision": _decision(record),
        "standing": "readings good" if standing.word == "sound" and not listened else standing.word,
        "cause": standing.words,
        "finding": names.paths(found.paths) + (f": {found.text}" if found and found.text else "") if found else "",
    }


def _heard(job: Job, record: RoundRecord | None) -> str:
    if record is None or record.verdict is None:
        return "not judged" if record else "not listened"
    v, before = record.verdict.result.verdict, heard_before(job, record)
    return verdicts.verdict(v.kind, v.paths, v.probability) + (f" ({before})" if before else "")


def _decision(record: RoundRecord | None) -> str:
    decision = record.decision.payload if record and record.decision else None
    match decision:
        case None:
            return figures.UNKNOWN
        case ev.Overruled(paths=paths):
            return f"overruled: {names.paths(paths)}"
    return "confirmed" if isinstance(decision, ev.Confirmed) else "sent back"


def _microphone(job: Job) -> str:
    m = job.microphone
    if m is None:
        return "not checked in this job"
    spl = f"; full scale = {m.full_scale_db_spl:.1f} dB SPL" if m.full_scale_db_spl is not None else "; not calibrated"
    return f"{m.device}, {m.rate_hz} Hz, {m.verdict}{spl}" + (f" ({m.text})" if m.text else "")
