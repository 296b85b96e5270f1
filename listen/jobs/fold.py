"""From events to a job: one small rule for each kind of event."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import msgspec
from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.job import ClipRecord, Job, RoundRecord, Skip, Stamped

Rule = Callable[[Job, Any, ev.Event], Job]


def fold(events: Iterable[ev.Event], job: Job | None = None) -> Job:
    """Apply events in order to ``job`` (a new one if not given). Pure: the same events give the same job."""
    job = job or Job()
    for event in events:
        job = apply(job, event)
    return job


def apply(job: Job, event: ev.Event) -> Job:
    """The job after one more event. An event that makes no sense here is told among the troubles, never raised."""
    rule = RULES.get(type(event.payload))
    if rule is not None:
        try:
            job = rule(job, event.payload, event)
        except KeyError as e:
            job = _trouble(job, f"event {event.id} ({_kind(event)}) speaks of {e}, which this job does not have")
    return replace(
        job,
        events=job.events + 1,
        opened=job.opened or event.time,
        changed=event.time,
    )


def _kind(event: ev.Event) -> str:
    return ev.KIND_OF.get(type(event.payload), "unknown")


def _trouble(job: Job, sentence: str) -> Job:
    return replace(job, troubles=(*job.troubles, sentence))


def _stamped(event: ev.Event) -> Stamped:
    return Stamped(event=event.id, time=event.time, actor=event.actor, payload=event.payload)


def _touch(record: RoundRecord, event: ev.Event) -> RoundRecord:
    """Note that an event concerns a round; on a signed round that is a change after signing."""
    sentence = f"{_kind(event).replace('-', ' ')}, by {event.actor or 'unnamed'}, {event.time}"
    record = replace(record, touches=(*record.touches, (event.id, sentence)))
    if not record.signed:
        return record
    return replace(record, changed_after_signing=(*record.changed_after_signing, f"changed after signing: {sentence}"))


def _with_round(job: Job, round_id: str, event: ev.Event, change: Callable[[RoundRecord], RoundRecord]) -> Job:
    job.round(round_id)  # KeyError where the round is not known
    rounds = tuple(change(_touch(r, event)) if r.id == round_id else r for r in job.rounds)
    return replace(job, rounds=rounds)


def _touch_where(job: Job, event: ev.Event, concerns: Callable[[RoundRecord], bool]) -> Job:
    return replace(job, rounds=tuple(_touch(r, event) if concerns(r) else r for r in job.rounds))


def _opened(job: Job, p: ev.JobOpened, event: ev.Event) -> Job:
    if job.id:
        return _trouble(job, f"event {event.id} opens the job a second time; it is not acted upon")
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
    return replace(_touch_where(job, event, lambda r: True), engine=p.engine, size=p.size)


def _named(job: Job, p: ev.JobNamed, event: ev.Event) -> Job:
    return replace(job, **{k: v for k, v in msgspec.structs.asdict(p).items() if v is not None})


def _person(job: Job, p: ev.PersonChosen, event: ev.Event) -> Job:
    return replace(job, people={**job.people, p.role: p.name})


def _reading(job: Job, p: ev.ReadingEntered, event: ev.Event) -> Job:
    if p.round_id is not None:
        job.round(p.round_id)
    concerns = [r.id for r in job.rounds if p.round_id == r.id or (not p.round_id and p.cylinder == r.cylinder)]
    job = _touch_where(job, event, lambda r: r.id in concerns)
    rounds = tuple(replace(r, reread=True) if r.id in concerns else r for r in job.rounds)
    return replace(job, rounds=rounds, readings=(*job.readings, p))


def _plug(job: Job, p: ev.PlugSeen, event: ev.Event) -> Job:
    return replace(job, plugs={**job.plugs, p.cylinder: p})


def _symptom(job: Job, p: ev.SymptomNoted, event: ev.Event) -> Job:
    told = job.symptoms if p.cylinder is None else job.found.get(p.cylinder, ())
    others = tuple(s for s in told if s != p.symptom)
    now = (*others, p.symptom) if p.present else others
    if p.cylinder is None:
        return replace(job, symptoms=now)
    return replace(job, found={**job.found, p.cylinder: now})


def _note(job: Job, p: ev.NoteAdded, event: ev.Event) -> Job:
    job = _touch_where(job, event, lambda r: r.id == p.round_id)
    return replace(job, notes=(*job.notes, _stamped(event)))


def _microphone(job: Job, p: ev.MicrophoneChecked, event: ev.Event) -> Job:
    return replace(job, microphone=p)


def _round(job: Job, p: ev.RoundOpened, event: ev.Event) -> Job:
    if any(r.id == p.round_id for r in job.rounds):
        return _trouble(job, f"event {event.id} opens round {p.round_id} a second time; it is not acted upon")
    record = RoundRecord(id=p.round_id, cylinder=p.cylinder, title=p.title, opened=event.time)
    return replace(job, rounds=(*job.rounds, record))


def _caution(job: Job, p: ev.CautionAcknowledged, event: ev.Event) -> Job:
    if p.round_id is None:
        return job
    return _with_round(job, p.round_id, event, lambda r: replace(r, cautions=(*r.cautions, p.caution)))


def _passed(job: Job, p: ev.StepPassed, event: ev.Event) -> Job:
    return _with_round(job, p.round_id, event, lambda r: replace(r, passed={**r.passed, p.step: p.reason}))


def _clip(job: Job, p: ev.ClipKept, event: ev.Event) -> Job:
    if job.clip(p.clip) is not None:
        return _trouble(job, f"event {event.id} keeps clip {p.clip} a second time; it is not acted upon")
    record = ClipRecord(kept=p, event=event.id, time=event.time, actor=event.actor)
    return _with_round(job, p.round_id, event, lambda r: replace(r, clips=(*r.clips, record)))


def _taken_back(job: Job, p: ev.ClipTakenBack, event: ev.Event) -> Job:
    found = job.clip(p.clip)
    if found is None:
        raise KeyError(p.clip)

    def change(r: RoundRecord) -> RoundRecord:
        return replace(
            r,
            clips=tuple(replace(c, taken_back=True, reason=p.reason) if c.id == p.clip else c for c in r.clips),
        )

    return _with_round(job, found.kept.round_id, event, change)


def _skipped(job: Job, p: ev.PointSkipped, event: ev.Event) -> Job:
    def change(r: RoundRecord) -> RoundRecord:
        others = tuple(s for s in r.skips if s.point != p.point or (p.walk and s.walk != p.walk))
        return replace(r, skips=(*others, Skip(p.point, p.walk, p.reason)) if p.skipped else others)

    return _with_round(job, p.round_id, event, change)


def _imported(job: Job, p: ev.RoundImported, event: ev.Event) -> Job:
    return _with_round(job, p.round_id, event, lambda r: r)


def _call(job: Job, p: ev.ByEarCalled, event: ev.Event) -> Job:
    return _with_round(job, p.round_id, event, lambda r: replace(r, calls=(*r.calls, p)))


def _bubbles(job: Job, p: ev.BubblesLooked, event: ev.Event) -> Job:
    return _with_round(job, p.round_id, event, lambda r: replace(r, bubbles=p.seen, reread=True))


def _judged(job: Job, p: ev.Judged, event: ev.Event) -> Job:
    return _with_round(job, p.round_id, event, lambda r: replace(r, judged=(*r.judged, p), reread=False))


def _decided(job: Job, p: ev.Confirmed | ev.Overruled | ev.SentBack, event: ev.Event) -> Job:
    def change(r: RoundRecord) -> RoundRecord:
        return replace(r, decisions=(*r.decisions, _stamped(event)), clips_at_decision=len(r.clips))

    return _with_round(job, p.round_id, event, change)


def _signed(job: Job, p: ev.Signed, event: ev.Event) -> Job:
    job.round(p.round_id)

    def sign(r: RoundRecord) -> RoundRecord:
        missed = tuple(f"not seen by {p.name}: {said}" for touch, said in r.touches if touch in event.unseen)
        return replace(r, signatures=(*r.signatures, p), changed_after_signing=(*r.changed_after_signing, *missed))

    return replace(job, rounds=tuple(sign(r) if r.id == p.round_id else r for r in job.rounds))


def _finding(job: Job, p: ev.FindingRecorded, event: ev.Event) -> Job:
    before = {p.cylinder: job.rounds_of(p.cylinder), **job.before_finding}
    return replace(job, findings={**job.findings, p.cylinder: p}, before_finding=before)


def _diagnosis(job: Job, p: ev.DiagnosisStored, event: ev.Event) -> Job:
    return replace(job, diagnosis=p)


def _part(job: Job, p: ev.PartFound, event: ev.Event) -> Job:
    return job if p.adopted else replace(job, dropped_parts=(*job.dropped_parts, p.part))


def _mended(job: Job, p: ev.JournalMended, event: ev.Event) -> Job:
    said = []
    if p.moved_to:
        said.append(f"its end was torn and moved to {p.moved_to}")
    if p.events_missing:
        said.append(f"{p.events_missing} event(s) known before were gone")
    if p.rewritten:
        said.append("it was not the journal that was last written here")
    return _trouble(job, f"journal opened {event.time}: {'; '.join(said)}")


def _merged(job: Job, p: ev.Merged, event: ev.Event) -> Job:
    said = replace(_stamped(event), payload=replace(p, lines=()))  # what they held is folded on its own
    job = replace(job, merges=(*job.merges, said))
    return _trouble(job, p.text) if p.text else job


def _opaque(job: Job, p: ev.Opaque, event: ev.Event) -> Job:
    return _trouble(job, f"event {event.id} of kind {p.unknown_kind!r} is kept but not understood: {p.why}")


RULES: dict[type[ev.Payload], Rule] = {
    ev.JobOpened: _opened,
    ev.EngineDescribed: _engine,
    ev.JobNamed: _named,
    ev.PersonChosen: _person,
    ev.ReadingEntered: _reading,
    ev.PlugSeen: _plug,
    ev.SymptomNoted: _symptom,
    ev.NoteAdded: _note,
    ev.MicrophoneChecked: _microphone,
    ev.RoundOpened: _round,
    ev.CautionAcknowledged: _caution,
    ev.StepPassed: _passed,
    ev.ClipKept: _clip,
    ev.ClipTakenBack: _taken_back,
    ev.PointSkipped: _skipped,
    ev.RoundImported: _imported,
    ev.ByEarCalled: _call,
    ev.BubblesLooked: _bubbles,
    ev.Judged: _judged,
    ev.Confirmed: _decided,
    ev.Overruled: _decided,
    ev.SentBack: _decided,
    ev.Signed: _signed,
    ev.FindingRecorded: _finding,
    ev.DiagnosisStored: _diagnosis,
    ev.PartFound: _part,
    ev.JournalMended: _mended,
    ev.Merged: _merged,
    ev.Opaque: _opaque,
}
"""What each kind of event does to the job."""
