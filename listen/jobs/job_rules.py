"""What each kind of event about the whole job, its engine or its cylinders does to it."""

from collections.abc import Callable
from typing import Any

import msgspec
from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.job import Job, PhotoRecord, RoundRecord
from listen.jobs.note_change import Rule, note_change_where, stamped, trouble
from listen.jobs.ways import WAYS
from listen.voice import figures, names
from listen.voice.text import plain

NAMED = {"title": "title", "shop": "shop", "pressure_unit": "pressure unit", "complaint": "complaint"}
"""What a job is called by, in words."""


def _opened(job: Job, p: ev.JobOpened, event: ev.Event) -> Job:
    if job.id:
        return trouble(job, f"event {event.id} opens the job a second time; it is not acted upon")
    said = ("title", "shop", "complaint", "simulated", "pressure_unit", "engine", "size")
    return replace(job, id=p.job, **{field: getattr(p, field) for field in said})


def _engine(job: Job, p: ev.EngineDescribed, event: ev.Event) -> Job:
    return replace(note_change_where(job, event, lambda r: True), engine=p.engine, size=p.size)


def _named(job: Job, p: ev.JobNamed, event: ev.Event) -> Job:
    new = {k: v for k, v in msgspec.structs.asdict(p).items() if v is not None and v != getattr(job, k)}
    change = ", ".join(f"{NAMED[k]} {_quoted(getattr(job, k))} is now {_quoted(v)}" for k, v in new.items())
    return replace(note_change_where(job, event, lambda r: bool(new), change), **new)


def _quoted(text: str) -> str:
    return f"\N{LEFT DOUBLE QUOTATION MARK}{plain(text, 60)}\N{RIGHT DOUBLE QUOTATION MARK}"


def _way(job: Job, p: ev.WayChosen, event: ev.Event) -> Job:
    if p.way not in WAYS:
        return trouble(job, f"event {event.id} names a way of taking rounds that is not known: {plain(p.way, 40)}")
    return replace(job, way=p.way)


def _reading(job: Job, p: ev.ReadingEntered, event: ev.Event) -> Job:
    if p.round_id is not None:
        job.round(p.round_id)
    concerns = [r.id for r in job.rounds if p.round_id == r.id or (not p.round_id and p.cylinder == r.cylinder)]
    whole = p.round_id is None and p.cylinder is None  # of the job: an own reading of a round stands before it
    change = f"{names.figure_name(p.reading)} entered as {figures.as_read(p.value, p.unit)}"
    job = note_change_where(job, event, lambda r: whole or r.id in concerns, change)
    rounds = tuple(replace(r, readings_changed=True) if r.id in concerns else r for r in job.rounds)
    return replace(job, rounds=rounds, readings=(*job.readings, p))


def _plug(job: Job, p: ev.PlugSeen, event: ev.Event) -> Job:
    change = f"plug of cylinder {p.cylinder}: {names.plug_looks(p.conditions, p.text)}"
    job = note_change_where(job, event, lambda r: r.cylinder == p.cylinder, change)
    return replace(job, plugs={**job.plugs, p.cylinder: p})


def _symptom(job: Job, p: ev.SymptomNoted, event: ev.Event) -> Job:
    told = job.symptoms_of(p.cylinder)
    others = tuple(s for s in told if s != p.symptom)
    now = (*others, p.symptom) if p.present else others
    change = f"symptom {'noted' if p.present else 'withdrawn'}: {names.symptom_name(p.symptom)}"
    job = note_change_where(job, event, lambda r: p.cylinder in (None, r.cylinder) and set(now) != set(told), change)
    return _with_symptoms(job, p.cylinder, now, job.asked_of(p.cylinder))


def _asked(job: Job, p: ev.SymptomsAsked, event: ev.Event) -> Job:
    before = job.asked_of(p.cylinder)
    new = [s for s in p.symptoms if s not in before]
    job = note_change_where(
        job, event, lambda r: bool(new) and p.cylinder in (None, r.cylinder), f"{len(new)} symptom(s) asked about"
    )
    return _with_symptoms(job, p.cylinder, job.symptoms_of(p.cylinder), (*before, *new))


def _with_symptoms(job: Job, cylinder: int | None, told: tuple[str, ...], asked: tuple[str, ...]) -> Job:
    if cylinder is None:
        return replace(job, symptoms=told, asked_symptoms=asked)
    return replace(
        job,
        cylinder_symptoms={**job.cylinder_symptoms, cylinder: told},
        cylinder_symptoms_asked={**job.cylinder_symptoms_asked, cylinder: asked},
    )


def _check(job: Job, p: ev.CheckMade, event: ev.Event) -> Job:
    job = note_change_where(
        job, event, lambda r: p.cylinder in (None, r.cylinder), f"check {p.check}: {p.outcome or 'back'}"
    )
    others = tuple(c for c in job.checks if (c.check, c.cylinder) != (p.check, p.cylinder))
    return replace(job, checks=(*others, p) if p.outcome else others)


def _withdrawn(job: Job, p: ev.AnswerWithdrawn, event: ev.Event) -> Job:
    kept = tuple(r for r in job.readings if (r.reading, r.cylinder) != (p.fact, p.cylinder) or r.round_id)
    change = f"answer withdrawn: {names.figure_name(p.fact)}"
    job = note_change_where(job, event, lambda r: p.cylinder in (None, r.cylinder), change)
    every = (job.symptoms_of(p.cylinder), job.asked_of(p.cylinder))
    told, asked = (tuple(s for s in those if s != p.fact) for those in every)
    return _with_symptoms(replace(job, readings=kept), p.cylinder, told, asked)


def _note(job: Job, p: ev.NoteAdded, event: ev.Event) -> Job:
    job = note_change_where(job, event, lambda r: r.id == p.round_id)
    return replace(job, notes=(*job.notes, stamped(event)))


def _photo_back(job: Job, p: ev.PhotoTakenBack, event: ev.Event) -> Job:
    if all(r.kept.photo != p.photo for r in job.photos):
        raise KeyError(p.photo)
    photos = (replace(r, taken_back=not p.again) if r.kept.photo == p.photo else r for r in job.photos)
    return replace(job, photos=tuple(photos))


def _finding(job: Job, p: ev.FindingRecorded, event: ev.Event) -> Job:
    before = {p.cylinder: job.rounds_of(p.cylinder), **job.before_finding}
    if (known := job.findings.get(p.cylinder)) is not None and known != p:  # the first finding is no change
        change = f"finding at cylinder {p.cylinder}: {names.paths(known.paths)} is now {names.paths(p.paths)}"
        job = note_change_where(job, event, lambda r: r.cylinder == p.cylinder, change)
    return replace(job, findings={**job.findings, p.cylinder: p}, before_finding=before)


def salvaged_words(p: ev.Salvaged) -> str:
    """One sentence about what came back and what did not."""
    lines = ", ".join(map(str, p.lines_lost[:8])) + (", ..." if len(p.lines_lost) > 8 else "")
    return (
        f"brought back from the damaged job {p.source}: {p.events} event(s); "
        f"{len(p.lines_lost)} line(s) lost{f' ({lines})' if lines else ''}, {len(p.clips_missing)} clip(s) not whole, "
        f"{p.signatures_left} signature(s) left behind"
    )


def _mended(job: Job, p: ev.JournalMended, event: ev.Event) -> Job:
    troubles = []
    if p.moved_to:
        troubles.append(f"its end was torn and moved to {p.moved_to}")
    if p.events_missing:
        troubles.append(f"{p.events_missing} event(s) known before were gone")
    if p.rewritten:
        troubles.append("it was not the journal that was last written here")
    return trouble(job, f"journal opened {event.time}: {'; '.join(troubles)}")


FACTS = frozenset({"reading-entered", "bubbles-looked", "air-followed", "step-passed", "withdrawn"})
"""Kinds a verdict may rest on: where one counts no more, or counts again, the round is judged again."""


def _withdrawal(job: Job, p: ev.Withdrawn, event: ev.Event) -> Job:
    def concerns(r: RoundRecord) -> bool:
        return r.id == p.round_id or (p.round_id is None and p.cylinder in (None, r.cylinder))

    why = f": {plain(p.reason, 120)}" if p.reason else ""
    job = note_change_where(job, event, concerns, f"{p.kind.replace('-', ' ')} taken back{why}")
    if p.kind not in FACTS:
        return job
    return replace(job, rounds=tuple(replace(r, readings_changed=True) if concerns(r) else r for r in job.rounds))


CHANGES: dict[type[ev.Payload], Callable[[Job, Any, ev.Event], dict[str, Any]]] = {
    ev.DetailsGiven: lambda job, p, e: {"details": {k: v for k, v in {**job.details, **p.details}.items() if v}},
    ev.PersonChosen: lambda job, p, e: {"people": {**job.people, p.role: p.name}},
    ev.SatDown: lambda job, p, e: {"people": {**job.people, p.role: p.name}, "sat": (*job.sat, p)},
    ev.PhotoKept: lambda job, p, e: {"photos": (*job.photos, PhotoRecord(kept=p, time=e.time, actor=e.actor))},
    ev.MicrophoneChecked: lambda job, p, e: {
        "microphone": p,
        "calibrations": job.calibrations | ({} if (at := p.full_scale_db_spl) is None else {p.device: at}),
    },
    ev.DiagnosisStored: lambda job, p, e: {"diagnosis": p},
    ev.PartFound: lambda job, p, e: {} if p.adopted else {"dropped_parts": (*job.dropped_parts, p.part)},
    ev.Salvaged: lambda job, p, e: {"troubles": (*job.troubles, salvaged_words(p))},
    # What the other machine's lines held is folded on its own.
    ev.Merged: lambda job, p, e: {"merges": (*job.merges, replace(stamped(e), payload=replace(p, lines=())))},
    ev.Opaque: lambda job, p, e: {
        "troubles": (*job.troubles, f"event {e.id} of kind {p.unknown_kind!r} is kept but not understood: {p.why}")
    },
}
"""Events that change fields of the job and concern no round."""


def _changed(job: Job, p: Any, event: ev.Event) -> Job:
    return replace(job, **CHANGES[type(p)](job, p, event))


JOB_RULES: dict[type[ev.Payload], Rule] = {
    **dict.fromkeys(CHANGES, _changed),
    ev.JobOpened: _opened,
    ev.EngineDescribed: _engine,
    ev.JobNamed: _named,
    ev.WayChosen: _way,
    ev.ReadingEntered: _reading,
    ev.PlugSeen: _plug,
    ev.SymptomNoted: _symptom,
    ev.SymptomsAsked: _asked,
    ev.CheckMade: _check,
    ev.AnswerWithdrawn: _withdrawn,
    ev.NoteAdded: _note,
    ev.PhotoTakenBack: _photo_back,
    ev.FindingRecorded: _finding,
    ev.JournalMended: _mended,
    ev.Withdrawn: _withdrawal,
}
