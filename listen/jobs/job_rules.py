"""What each kind of event about the whole job, its engine or its cylinders does to it."""

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
    return replace(
        job,
        id=p.job,
        title=p.title,
        shop=p.shop,
        complaint=p.complaint,
        simulated=p.simulated,
        pressure_unit=p.pressure_unit,
        engine=p.engine,
        size=p.size,
    )


def _engine(job: Job, p: ev.EngineDescribed, event: ev.Event) -> Job:
    return replace(note_change_where(job, event, lambda r: True), engine=p.engine, size=p.size)


def _named(job: Job, p: ev.JobNamed, event: ev.Event) -> Job:
    new = {k: v for k, v in msgspec.structs.asdict(p).items() if v is not None and v != getattr(job, k)}
    change = ", ".join(f"{NAMED[k]} {_quoted(getattr(job, k))} is now {_quoted(v)}" for k, v in new.items())
    return replace(note_change_where(job, event, lambda r: bool(new), change), **new)


def _quoted(text: str) -> str:
    return f"\N{LEFT DOUBLE QUOTATION MARK}{plain(text, 60)}\N{RIGHT DOUBLE QUOTATION MARK}"


def _details(job: Job, p: ev.DetailsGiven, event: ev.Event) -> Job:
    now = {**job.details, **p.details}
    return replace(job, details={name: text for name, text in now.items() if text})


def _person(job: Job, p: ev.PersonChosen, event: ev.Event) -> Job:
    return replace(job, people={**job.people, p.role: p.name})


def _way(job: Job, p: ev.WayChosen, event: ev.Event) -> Job:
    if p.way not in WAYS:
        return trouble(job, f"event {event.id} names a way of taking rounds that is not known: {plain(p.way, 40)}")
    return replace(job, way=p.way)


def _sat(job: Job, p: ev.SatDown, event: ev.Event) -> Job:
    return replace(job, people={**job.people, p.role: p.name}, sat=(*job.sat, p))


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
    told = job.symptoms if p.cylinder is None else job.cylinder_symptoms.get(p.cylinder, ())
    others = tuple(s for s in told if s != p.symptom)
    now = (*others, p.symptom) if p.present else others
    change = f"symptom {'noted' if p.present else 'withdrawn'}: {names.symptom_name(p.symptom)}"
    job = note_change_where(job, event, lambda r: p.cylinder in (None, r.cylinder) and set(now) != set(told), change)
    if p.cylinder is None:
        return replace(job, symptoms=now)
    return replace(job, cylinder_symptoms={**job.cylinder_symptoms, p.cylinder: now})


def _asked(job: Job, p: ev.SymptomsAsked, event: ev.Event) -> Job:
    before = job.asked_symptoms if p.cylinder is None else job.cylinder_symptoms_asked.get(p.cylinder, ())
    new = [s for s in p.symptoms if s not in before]
    job = note_change_where(
        job, event, lambda r: bool(new) and p.cylinder in (None, r.cylinder), f"{len(new)} symptom(s) asked about"
    )
    if p.cylinder is None:
        return replace(job, asked_symptoms=(*before, *new))
    return replace(job, cylinder_symptoms_asked={**job.cylinder_symptoms_asked, p.cylinder: (*before, *new)})


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
    if p.cylinder is not None:
        job = replace(job, readings=kept)
        yes, asked = (
            tuple(s for s in t.get(p.cylinder, ()) if s != p.fact)
            for t in (job.cylinder_symptoms, job.cylinder_symptoms_asked)
        )
        return replace(
            job,
            cylinder_symptoms={**job.cylinder_symptoms, p.cylinder: yes},
            cylinder_symptoms_asked={**job.cylinder_symptoms_asked, p.cylinder: asked},
        )
    symptoms, asked = (tuple(s for s in told if s != p.fact) for told in (job.symptoms, job.asked_symptoms))
    return replace(job, readings=kept, symptoms=symptoms, asked_symptoms=asked)


def _note(job: Job, p: ev.NoteAdded, event: ev.Event) -> Job:
    job = note_change_where(job, event, lambda r: r.id == p.round_id)
    return replace(job, notes=(*job.notes, stamped(event)))


def _photo(job: Job, p: ev.PhotoKept, event: ev.Event) -> Job:
    return replace(job, photos=(*job.photos, PhotoRecord(kept=p, time=event.time, actor=event.actor)))


def _photo_back(job: Job, p: ev.PhotoTakenBack, event: ev.Event) -> Job:
    if all(r.kept.photo != p.photo for r in job.photos):
        raise KeyError(p.photo)
    photos = (replace(r, taken_back=not p.again) if r.kept.photo == p.photo else r for r in job.photos)
    return replace(job, photos=tuple(photos))


def _microphone(job: Job, p: ev.MicrophoneChecked, event: ev.Event) -> Job:
    level = p.full_scale_db_spl
    known = job.calibrations if level is None else {**job.calibrations, p.device: level}
    return replace(job, microphone=p, calibrations=known)


def _finding(job: Job, p: ev.FindingRecorded, event: ev.Event) -> Job:
    before = {p.cylinder: job.rounds_of(p.cylinder), **job.before_finding}
    if (known := job.findings.get(p.cylinder)) is not None and known != p:  # the first finding is no change
        change = f"finding at cylinder {p.cylinder}: {names.paths(known.paths)} is now {names.paths(p.paths)}"
        job = note_change_where(job, event, lambda r: r.cylinder == p.cylinder, change)
    return replace(job, findings={**job.findings, p.cylinder: p}, before_finding=before)


def _diagnosis(job: Job, p: ev.DiagnosisStored, event: ev.Event) -> Job:
    return replace(job, diagnosis=p)


def salvaged_words(p: ev.Salvaged) -> str:
    """One sentence about what came back and what did not."""
    lines = ", ".join(map(str, p.lines_lost[:8])) + (", ..." if len(p.lines_lost) > 8 else "")
    return (
        f"brought back from the damaged job {p.source}: {p.events} event(s); "
        f"{len(p.lines_lost)} line(s) lost{f' ({lines})' if lines else ''}, {len(p.clips_missing)} clip(s) not whole, "
        f"{p.signatures_left} signature(s) left behind"
    )


def _salvaged(job: Job, p: ev.Salvaged, event: ev.Event) -> Job:
    return trouble(job, salvaged_words(p))


def _part(job: Job, p: ev.PartFound, event: ev.Event) -> Job:
    return job if p.adopted else replace(job, dropped_parts=(*job.dropped_parts, p.part))


def _mended(job: Job, p: ev.JournalMended, event: ev.Event) -> Job:
    troubles = []
    if p.moved_to:
        troubles.append(f"its end was torn and moved to {p.moved_to}")
    if p.events_missing:
        troubles.append(f"{p.events_missing} event(s) known before were gone")
    if p.rewritten:
        troubles.append("it was not the journal that was last written here")
    return trouble(job, f"journal opened {event.time}: {'; '.join(troubles)}")


def _merged(job: Job, p: ev.Merged, event: ev.Event) -> Job:
    merge = replace(stamped(event), payload=replace(p, lines=()))  # what they held is folded on its own
    return replace(job, merges=(*job.merges, merge))


def _opaque(job: Job, p: ev.Opaque, event: ev.Event) -> Job:
    return trouble(job, f"event {event.id} of kind {p.unknown_kind!r} is kept but not understood: {p.why}")


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


JOB_RULES: dict[type[ev.Payload], Rule] = {
    ev.JobOpened: _opened,
    ev.EngineDescribed: _engine,
    ev.JobNamed: _named,
    ev.DetailsGiven: _details,
    ev.PersonChosen: _person,
    ev.SatDown: _sat,
    ev.WayChosen: _way,
    ev.ReadingEntered: _reading,
    ev.PlugSeen: _plug,
    ev.SymptomNoted: _symptom,
    ev.SymptomsAsked: _asked,
    ev.CheckMade: _check,
    ev.AnswerWithdrawn: _withdrawn,
    ev.NoteAdded: _note,
    ev.PhotoKept: _photo,
    ev.PhotoTakenBack: _photo_back,
    ev.MicrophoneChecked: _microphone,
    ev.FindingRecorded: _finding,
    ev.DiagnosisStored: _diagnosis,
    ev.PartFound: _part,
    ev.Salvaged: _salvaged,
    ev.JournalMended: _mended,
    ev.Merged: _merged,
    ev.Withdrawn: _withdrawal,
    ev.Opaque: _opaque,
}
"""Rules for events about the job."""
