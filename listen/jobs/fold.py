"""From events to a job: one small rule for each kind of event, applied in order; those about a round stand here."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from msgspec.structs import replace

from listen.errors import HisswayError
from listen.jobs import events as ev
from listen.jobs.decision import Decision
from listen.jobs.event_words import conflicts
from listen.jobs.hearing import heard, numbers_seen, recorded_by
from listen.jobs.job import ClipRecord, Job, RoundRecord, Skip
from listen.jobs.job_rules import JOB_RULES
from listen.jobs.note_change import Rule, kind_of, trouble, with_round
from listen.jobs.reference import DECLINED, with_references


def _round(job: Job, p: ev.RoundOpened, event: ev.Event) -> Job:
    # Told, not refused: the line is in the journal of some machine, and the rest of it must still be read.
    if any(r.id == p.round_id for r in job.rounds):
        return trouble(job, f"event {event.id} opens round {p.round_id} a second time; it is not acted upon")
    record = RoundRecord(id=p.round_id, cylinder=p.cylinder, title=p.title, opened=event.time)
    return replace(job, rounds=(*job.rounds, record))


def _caution(job: Job, p: ev.CautionAcknowledged, event: ev.Event) -> Job:
    if p.round_id is None:
        return replace(job, cautions=(*job.cautions, p.caution))
    return with_round(job, p.round_id, event, lambda r: replace(r, cautions=(*r.cautions, p.caution)))


def _leaving_out(left_out: dict[str, str], p: ev.StepPassed) -> dict[str, str]:
    """Steps left out, with one more; an empty reason takes a step up again."""
    others = {step: reason for step, reason in left_out.items() if step != p.step}
    return {**others, p.step: p.reason} if p.reason else others


def _clip(job: Job, p: ev.ClipKept, event: ev.Event) -> Job:
    if job.clip(p.clip) is not None:
        return trouble(job, f"event {event.id} keeps clip {p.clip} a second time; it is not acted upon")
    record = ClipRecord(kept=p, event=event.id, time=event.time, actor=event.actor)

    def change(r: RoundRecord) -> RoundRecord:  # a point that is recorded after all is left out no more
        skips = tuple(s for s in r.skips if s.point != p.point or s.walk not in ("", p.walk))
        return replace(r, clips=(*r.clips, record), skips=skips)

    return with_round(job, p.round_id, event, change)


def _taken_back(job: Job, p: ev.ClipTakenBack, event: ev.Event) -> Job:
    found = job.clip(p.clip)
    if found is None:
        raise KeyError(p.clip)

    def change(r: RoundRecord) -> RoundRecord:
        return replace(
            r, clips=tuple(replace(c, taken_back=True, reason=p.reason) if c.id == p.clip else c for c in r.clips)
        )

    return with_round(job, found.kept.round_id, event, change)


def _call(job: Job, p: ev.ByEarCalled, event: ev.Event) -> Job:
    def change(r: RoundRecord) -> RoundRecord:
        call = replace(p, before_numbers=p.before_numbers and not (p.sitting and numbers_seen(r, p.name, p.sitting)))
        # Counted as the call comes in: what is played afterwards was not heard before it.
        pairs = sum(one.sitting == p.sitting for one in r.played) if p.sitting else 0
        return replace(r, calls=(*r.calls, call), before_calls=(*r.before_calls, (pairs, len(r.clips))))

    return with_round(job, p.round_id, event, change)


def _decided(job: Job, p: ev.Confirmed | ev.Overruled | ev.SentBack, event: ev.Event) -> Job:
    def change(r: RoundRecord) -> RoundRecord:
        made = Decision(
            event=event.id,
            time=event.time,
            actor=event.actor,
            payload=p,
            place=event.place,
            on=r.verdict,
            settles=frozenset(d.event for d in r.decisions if event.knew_of(d.place)),
            heard=heard(r, p.name, p.sitting),
            own_work=recorded_by(job, r, p.name),
            clips_before=len(r.clips),
        )
        return replace(r, decisions=(*r.decisions, made))

    return with_round(job, p.round_id, event, change)


def _signed(job: Job, p: ev.Signed, event: ev.Event) -> Job:
    job.round(p.round_id)

    def sign(r: RoundRecord) -> RoundRecord:
        missed = tuple(replace(t, not_seen_by=(p.name,)) for t in r.touches if not event.knew_of(t.place))
        known = [d for d in r.open_decisions if event.knew_of(d.place)]
        as_strong = bool(p.public_key) or not any(s.public_key for s in r.signatures)  # a name covers for no key
        over = tuple(
            replace(c, signed_over=p.name) if as_strong and not c.signed_over and event.knew_of(c.place) else c
            for c in r.changes
        )
        return replace(
            r,
            decisions=tuple(
                replace(d, signatures=(*d.signatures, p)) if known and d == known[-1] else d for d in r.decisions
            ),
            signatures=(*r.signatures, p),
            signed_at=(*r.signed_at, event.place),
            changes=(*over, *missed),
        )

    return replace(job, rounds=tuple(sign(r) if r.id == p.round_id else r for r in job.rounds))


def _shown(job: Job, p: ev.NumbersShown, event: ev.Event) -> Job:
    return replace(job, rounds=tuple(replace(r, shown=(*r.shown, p)) if r.id in p.rounds else r for r in job.rounds))


def _played(job: Job, p: ev.PairPlayed, event: ev.Event) -> Job:
    job.round(p.round_id)
    return replace(
        job, rounds=tuple(replace(r, played=(*r.played, p)) if r.id == p.round_id else r for r in job.rounds)
    )


def _skips(r: RoundRecord, p: ev.PointSkipped) -> tuple[Skip, ...]:
    others = tuple(s for s in r.skips if s.point != p.point or (p.walk and s.walk != p.walk))
    return (*others, Skip(p.point, p.walk, p.reason)) if p.skipped else others


CHANGES: dict[type[ev.Payload], Callable[[RoundRecord, Any], dict[str, Any]]] = {
    ev.StepPassed: lambda r, p: {
        "steps_left_out": _leaving_out(r.steps_left_out, p),
        "readings_changed": r.readings_changed or p.step == DECLINED,
    },
    ev.PointSkipped: lambda r, p: {"skips": _skips(r, p)},
    ev.RoundImported: lambda r, p: {},
    ev.BubblesLooked: lambda r, p: {"bubbles": p.seen, "readings_changed": True},
    ev.AirFollowed: lambda r, p: {"air_followed": p.seen, "readings_changed": True},
    ev.Judged: lambda r, p: {"judged": (*r.judged, p), "readings_changed": False},
    ev.RoundSetAside: lambda r, p: {"aside": p.aside},
}
"""Events that change fields of their own round and nothing else."""


def _changed(job: Job, p: Any, event: ev.Event) -> Job:
    return with_round(job, p.round_id, event, lambda r: replace(r, **CHANGES[type(p)](r, p)))


ROUND_RULES: dict[type[ev.Payload], Rule] = {
    **dict.fromkeys(CHANGES, _changed),
    ev.RoundOpened: _round,
    ev.CautionAcknowledged: _caution,
    ev.ClipKept: _clip,
    ev.ClipTakenBack: _taken_back,
    ev.ByEarCalled: _call,
    ev.Confirmed: _decided,
    ev.Overruled: _decided,
    ev.SentBack: _decided,
    ev.Signed: _signed,
    ev.NumbersShown: _shown,
    ev.PairPlayed: _played,
}


RULES = {**JOB_RULES, **ROUND_RULES}
"""What each kind of event does to the job; every row of ``events.KINDS`` has one."""


def fold(events: Iterable[ev.Event], job: Job | None = None) -> Job:
    """Apply events in order to ``job`` (a new one if not given). Pure: the same events give the same job.

    Events that were withdrawn are passed over, so a withdrawal needs all events, not a job that has them already.
    """
    job, every = job or Job(), tuple(events)
    gone = withdrawn(every)
    since: set[str] = set()  # passed over since the latest verdict: their withdrawal leaves it as it was judged
    for event in every:
        if event.id in gone:
            since.add(event.id)
            job = _counted(job, event)
            continue
        before, job, payload = job, apply(job, event), event.payload
        if isinstance(payload, ev.Judged):
            since.clear()
        elif isinstance(payload, ev.Withdrawn) and payload.event in since:
            job = _as_judged(job, before)
    if any(event.past is not None for event in every):  # only where journals were merged, and then from the first on
        job = replace(job, troubles=(*job.troubles, *conflicts(every)))
    return job


def _as_judged(job: Job, before: Job) -> Job:
    """Rounds are to be judged again only where they were to be before."""
    return replace(
        job,
        rounds=tuple(
            replace(r, readings_changed=was.readings_changed) for r, was in zip(job.rounds, before.rounds, strict=True)
        ),
    )


def withdrawn(events: Sequence[ev.Event]) -> dict[str, ev.Event]:
    """Events that count no more, by id, each with the withdrawal that says so. The last word on each counts."""
    gone: dict[str, ev.Event] = {}
    kinds = {e.id: type(e.payload) for e in events}
    for event in reversed(events):
        p = event.payload
        if isinstance(p, ev.Withdrawn) and event.id not in gone and kinds.get(p.event) in ev.MAY_BE_WITHDRAWN:
            gone.setdefault(p.event, event)
    return gone


def apply(job: Job, event: ev.Event) -> Job:
    """The job after one more event. An event that makes no sense here is told among the troubles, never raised."""
    rule = RULES.get(type(event.payload))
    if rule is not None:
        try:
            job = with_references(job, rule(job, event.payload, event), event)
        except KeyError as e:
            job = trouble(job, f"event {event.id} ({kind_of(event)}) speaks of {e}, which this job does not have")
        except (ArithmeticError, HisswayError, LookupError, TypeError, ValueError) as e:
            job = trouble(job, f"event {event.id} ({kind_of(event)}) cannot be understood ({type(e).__name__}: {e})")
    return _counted(job, event)


def _counted(job: Job, event: ev.Event) -> Job:
    return replace(job, events=job.events + 1, opened=job.opened or event.time, changed=event.time)
