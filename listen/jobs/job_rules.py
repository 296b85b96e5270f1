"""What each kind of event about the whole job, its engine or its cylinders does to it, and says of its rounds."""

from collections.abc import Callable
from typing import Any

from msgspec.structs import asdict, replace

from listen.jobs import events as ev
from listen.jobs.job import Job, PhotoRecord, RoundRecord
from listen.jobs.ways import WAYS
from listen.same_fields import same_fields
from listen.voice import figures, names
from listen.voice.text import plain

Rule = Callable[[Job, Any, ev.Event], Job]
"""The job after an event: job before, the event's payload, the event."""


class NotActedUpon(Exception):
    """An event that makes no sense in this job, in words that follow its id; it is told, and the rest is still read."""


def _rule(
    fields: Callable[[Job, Any, ev.Event], dict[str, Any]], says: Callable[[Job, Any], str | None] | None = None
) -> Rule:
    """A rule by the fields of the job that it changes.

    ``says`` gives what it changed of the rounds that it concerns in words: empty where its kind says enough, None
    where it changed nothing.
    """

    def rule(job: Job, p: Any, event: ev.Event) -> Job:
        changed, words = fields(job, p, event), says(job, p) if says else None
        # Noted before the job changes: in words what it was and what it is now.
        if words is not None:
            job = job.with_rounds([r.id for r in job.rounds if _concerns(p, r)], lambda r: _noting(r, event, words))
        return replace(job, **changed)

    return rule


def _concerns(p: Any, record: RoundRecord) -> bool:
    """Whether an event is about a round: it names it, or its cylinder, or neither, which is the whole engine."""
    if (round_id := getattr(p, "round_id", None)) is not None:
        return bool(record.id == round_id)
    return getattr(p, "cylinder", None) in (None, record.cylinder)


FACTS = frozenset({"reading-entered", "bubbles-looked", "air-followed", "top-found-again", "step-passed", "withdrawn"})
"""Kinds a verdict may rest on: where one counts no more, or counts again, the round is judged again."""


def _noting(record: RoundRecord, event: ev.Event, words: str) -> RoundRecord:
    p = event.payload
    moved = isinstance(p, ev.Withdrawn) and p.kind in FACTS
    if isinstance(p, ev.ReadingEntered):
        moved = p.round_id is not None or p.cylinder is not None  # of the job: an own one of the round stands before it
    noted = record.noting(event, words)
    return replace(noted, readings_changed=True) if moved else noted


def _opened(job: Job, p: ev.JobOpened, event: ev.Event) -> dict[str, Any]:
    if job.id:
        raise NotActedUpon("opens the job a second time; it is not acted upon")
    return {"id": p.job} | same_fields(p, "title", "shop", "complaint", "simulated", "pressure_unit", "engine", "size")


def _named(job: Job, p: ev.JobNamed) -> dict[str, str]:
    return {k: v for k, v in asdict(p).items() if v is not None and v != getattr(job, k)}


def _named_words(job: Job, p: ev.JobNamed) -> str | None:
    changed = {k.replace("_", " "): (getattr(job, k), v) for k, v in _named(job, p).items()}
    return ", ".join(f"{k} {_quoted(was)} is now {_quoted(now)}" for k, (was, now) in changed.items()) or None


def _quoted(text: str) -> str:
    return f"\N{LEFT DOUBLE QUOTATION MARK}{plain(text, 60)}\N{RIGHT DOUBLE QUOTATION MARK}"


def _way(job: Job, p: ev.WayChosen, event: ev.Event) -> dict[str, Any]:
    if p.way not in WAYS:
        raise NotActedUpon(f"names a way of taking rounds that is not known: {plain(p.way, 40)}")
    return {"way": p.way}


def _reading(job: Job, p: ev.ReadingEntered, event: ev.Event) -> dict[str, Any]:
    if p.round_id is not None:
        # KeyError where the round is not known: told, and the reading is not taken in.
        job.round(p.round_id)
    return {"readings": (*job.readings, p)}


def _noted(job: Job, p: ev.SymptomNoted) -> tuple[str, ...]:
    # Without it first: noted twice it stands once, in the place of the last.
    others = tuple(s for s in job.symptoms_of(p.cylinder) if s != p.symptom)
    return (*others, p.symptom) if p.present else others


def _noted_words(job: Job, p: ev.SymptomNoted) -> str | None:
    if set(_noted(job, p)) == set(job.symptoms_of(p.cylinder)):
        return None
    return f"symptom {'noted' if p.present else 'withdrawn'}: {names.symptom_name(p.symptom)}"


def _newly_asked(job: Job, p: ev.SymptomsAsked) -> list[str]:
    return [s for s in p.symptoms if s not in job.asked_of(p.cylinder)]


def _check(job: Job, p: ev.CheckMade, event: ev.Event) -> dict[str, Any]:
    others = tuple(c for c in job.checks if (c.check, c.cylinder) != (p.check, p.cylinder))
    return {"checks": (*others, p) if p.outcome else others}


def _answer_withdrawn(job: Job, p: ev.AnswerWithdrawn, event: ev.Event) -> dict[str, Any]:
    kept = tuple(r for r in job.readings if (r.reading, r.cylinder) != (p.fact, p.cylinder) or r.round_id)
    told, asked = (
        {**places, p.cylinder: tuple(s for s in places.get(p.cylinder, ()) if s != p.fact)}
        for places in (job.symptoms, job.asked)
    )
    return {"readings": kept, "symptoms": told, "asked": asked}


def _note(job: Job, p: ev.NoteAdded, event: ev.Event) -> Job:
    job = job.with_rounds([p.round_id], lambda r: r.noting(event)) if p.round_id else job  # else it changes no round
    return replace(job, notes=(*job.notes, event))


def _photo_back(job: Job, p: ev.PhotoTakenBack, event: ev.Event) -> dict[str, Any]:
    if all(r.kept.photo != p.photo for r in job.photos):
        raise KeyError(p.photo)
    return {"photos": tuple(replace(r, taken_back=not p.again) if r.kept.photo == p.photo else r for r in job.photos)}


def _finding_words(job: Job, p: ev.FindingRecorded) -> str | None:
    known = job.findings.get(p.cylinder)
    if known is None or known == p:  # the first finding is no change
        return None
    return f"finding at cylinder {p.cylinder}: {names.paths(known.paths)} is now {names.paths(p.paths)}"


def salvaged_words(p: ev.Salvaged) -> str:
    """One sentence about what came back and what did not."""
    lines = ", ".join(map(str, p.lines_lost[:8])) + (", ..." if len(p.lines_lost) > 8 else "")
    return (
        f"brought back from the damaged job {p.source}: {p.events} event(s); "
        f"{len(p.lines_lost)} line(s) lost{f' ({lines})' if lines else ''}, {len(p.clips_missing)} clip(s) not whole, "
        f"{p.signatures_left} signature(s) left behind"
    )


def _mended(p: ev.JournalMended, event: ev.Event) -> str:
    found = {
        f"its end was torn and moved to {p.moved_to}": p.moved_to,
        f"{p.events_missing} event(s) known before were gone": p.events_missing,
        "it was not the journal that was last written here": p.rewritten,
    }
    return f"journal opened {event.time}: {'; '.join(words for words, so in found.items() if so)}"


JOB_RULES: dict[type[ev.Payload], Rule] = {
    ev.JobOpened: _rule(_opened),
    ev.EngineDescribed: _rule(lambda job, p, e: {"engine": p.engine, "size": p.size}, lambda job, p: ""),
    ev.JobNamed: _rule(lambda job, p, e: _named(job, p), _named_words),
    ev.WayChosen: _rule(_way),
    ev.DetailsGiven: _rule(lambda job, p, e: {"details": {k: v for k, v in {**job.details, **p.details}.items() if v}}),
    ev.PersonChosen: _rule(lambda job, p, e: {"people": {**job.people, p.role: p.name}}),
    ev.SatDown: _rule(lambda job, p, e: {"people": {**job.people, p.role: p.name}, "sat": (*job.sat, p)}),
    ev.ReadingEntered: _rule(
        _reading, lambda job, p: f"{names.figure_name(p.reading)} entered as {figures.as_read(p.value, p.unit)}"
    ),
    ev.PlugSeen: _rule(
        lambda job, p, e: {"plugs": {**job.plugs, p.cylinder: p}},
        lambda job, p: f"plug of cylinder {p.cylinder}: {names.plug_looks(p.conditions, p.text)}",
    ),
    ev.SymptomNoted: _rule(lambda job, p, e: {"symptoms": {**job.symptoms, p.cylinder: _noted(job, p)}}, _noted_words),
    ev.SymptomsAsked: _rule(
        lambda job, p, e: {"asked": {**job.asked, p.cylinder: (*job.asked_of(p.cylinder), *_newly_asked(job, p))}},
        lambda job, p: f"{len(new)} symptom(s) asked about" if (new := _newly_asked(job, p)) else None,
    ),
    ev.CheckMade: _rule(_check, lambda job, p: f"check {p.check}: {p.outcome or 'back'}"),
    ev.AnswerWithdrawn: _rule(_answer_withdrawn, lambda job, p: f"answer withdrawn: {names.figure_name(p.fact)}"),
    ev.NoteAdded: _note,
    ev.PhotoKept: _rule(lambda job, p, e: {"photos": (*job.photos, PhotoRecord(event=e, kept=p))}),
    ev.PhotoTakenBack: _rule(_photo_back),
    ev.MicrophoneChecked: _rule(
        lambda job, p, e: {
            "microphone": p,
            "calibrations": job.calibrations | ({} if (at := p.full_scale_db_spl) is None else {p.device: at}),
        }
    ),
    ev.FindingRecorded: _rule(
        lambda job, p, e: {
            "findings": {**job.findings, p.cylinder: p},
            "before_finding": {p.cylinder: job.rounds_of(p.cylinder), **job.before_finding},
        },
        _finding_words,
    ),
    ev.JournalMended: _rule(lambda job, p, e: {"troubles": (*job.troubles, _mended(p, e))}),
    ev.Salvaged: _rule(lambda job, p, e: {"troubles": (*job.troubles, salvaged_words(p))}),
    # Of these the job keeps nothing; what another machine's lines held is folded on its own.
    **dict.fromkeys((ev.DiagnosisStored, ev.PartFound, ev.Merged), _rule(lambda job, p, e: {})),
    ev.Withdrawn: _rule(
        lambda job, p, e: {},
        lambda job, p: f"{p.kind.replace('-', ' ')} taken back{f': {plain(p.reason, 120)}' if p.reason else ''}",
    ),
    ev.Opaque: _rule(
        lambda job, p, e: {
            "troubles": (*job.troubles, f"event {e.id} of kind {p.unknown_kind!r} is kept but not understood: {p.why}")
        }
    ),
}
