"""From events to a job: one small rule for each kind of event, applied in order; those about a round stand here."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from msgspec.structs import replace

from listen.errors import HisswayError
from listen.jobs import events as ev
from listen.jobs.decision import Decision
from listen.jobs.event_words import conflicts
from listen.jobs.hearing import heard, numbers_seen, recorded_by
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.jobs.job_rules import JOB_RULES, NotActedUpon, Rule
from listen.jobs.reference import DECLINED, lent, lent_words

Fields = Callable[[Job, RoundRecord, Any, ev.Event], dict[str, Any]]
"""What an event changes of its round: job before, the round, the event's payload, the event."""


def _rule(fields: Fields, *, noted: bool = True) -> Rule:
    """A rule by the fields of the round that it changes; ``noted`` false: what it tells is no change of the round."""

    def rule(job: Job, p: Any, event: ev.Event) -> Job:
        job.round(p.round_id)  # KeyError where the round is not known

        def changed(r: RoundRecord) -> RoundRecord:
            r = r.noting(event) if noted else r
            return replace(r, **fields(job, r, p, event))

        return job.with_rounds([p.round_id], changed)

    return rule


def _opened(job: Job, p: ev.RoundOpened, event: ev.Event) -> Job:
    # Told, not refused: the line is in the journal of some machine, and the rest of it must still be read.
    if job.find_round(p.round_id):
        raise NotActedUpon(f"opens round {p.round_id} a second time; it is not acted upon")
    record = RoundRecord(id=p.round_id, cylinder=p.cylinder, title=p.title, opened=event.time)
    return replace(job, rounds=(*job.rounds, record))


def _caution(job: Job, p: ev.CautionAcknowledged, event: ev.Event) -> Job:
    if p.round_id is None:
        return replace(job, cautions=(*job.cautions, p.caution))
    return _rule(lambda job, r, p, e: {"cautions": (*r.cautions, p.caution)})(job, p, event)


def _passed(job: Job, r: RoundRecord, p: ev.StepPassed, event: ev.Event) -> dict[str, Any]:
    # The last word on a step counts.
    others = {step: reason for step, reason in r.steps_left_out.items() if step != p.step}
    left_out = {**others, p.step: p.reason} if p.reason else others  # an empty reason takes a step up again
    revealed = r.revealed or p.step == "call"
    return {
        "steps_left_out": left_out,
        "revealed": revealed,
        "readings_changed": r.readings_changed or p.step == DECLINED,
    }


def _clip(job: Job, r: RoundRecord, p: ev.ClipKept, event: ev.Event) -> dict[str, Any]:
    if job.clip(p.clip) is not None:
        raise NotActedUpon(f"keeps clip {p.clip} a second time; it is not acted upon")
    # A point that is recorded after all is left out no more.
    skips = tuple(s for s in r.skips if s.point != p.point or s.walk not in ("", p.walk))
    record = ClipRecord(event=event, kept=p)
    return {"clips": (*r.clips, record), "skips": skips}


def _taken_back(job: Job, p: ev.ClipTakenBack, event: ev.Event) -> Job:
    # Told by `apply` as what this job does not have.
    if (found := job.clip(p.clip)) is None:
        raise KeyError(p.clip)

    def changed(r: RoundRecord) -> RoundRecord:
        gone = (replace(c, taken_back=True, reason=p.reason) if c.id == p.clip else c for c in r.clips)
        return replace(r.noting(event), clips=tuple(gone))

    return job.with_rounds([found.kept.round_id], changed)


def _skipped(job: Job, r: RoundRecord, p: ev.PointSkipped, event: ev.Event) -> dict[str, Any]:
    # Leaving a point out of all walks takes the place of every single one.
    others = tuple(s for s in r.skips if s.point != p.point or (p.walk and s.walk != p.walk))
    return {"skips": (*others, p) if p.skipped else others}


def _call(job: Job, r: RoundRecord, p: ev.ByEarCalled, event: ev.Event) -> dict[str, Any]:
    tech = p.role == "tech"
    # What its maker claims is held against what was on the screen: the journal decides what was blind.
    seen = (tech and r.numbers_shown) or bool(p.sitting and numbers_seen(r, p.name, p.sitting))
    call = replace(p, before_numbers=p.before_numbers and not seen)
    # Counted as the call comes in: what is played afterwards was not heard before it.
    pairs = sum(one.sitting == p.sitting for one in r.played) if p.sitting else 0
    before = (*r.before_calls, (pairs, len(r.clips)))
    return {"calls": (*r.calls, call), "before_calls": before, "revealed": r.revealed or tech}


def _decided(job: Job, r: RoundRecord, p: ev.Confirmed | ev.Overruled | ev.SentBack, event: ev.Event) -> dict[str, Any]:
    # It settles what its maker knew of; what others decided meanwhile stays open beside it.
    made = Decision(
        event=event,
        payload=p,
        on=r.verdict,
        settles=frozenset(d.event.id for d in r.decisions if event.knew_of(d.event.place)),
        heard=heard(r, p.name, p.sitting),
        own_work=recorded_by(job, r, p.name),
        clips_before=len(r.clips),
    )
    return {"decisions": (*r.decisions, made)}


def _signed(job: Job, r: RoundRecord, p: ev.Signed, event: ev.Event) -> dict[str, Any]:
    # Written elsewhere and unknown to whoever signed: it counts as a change since, whatever its time.
    missed = tuple(replace(t, not_seen_by=(p.name,)) for t in r.touches if not event.knew_of(t.event.place))
    # A signature holds the decision that its maker saw last, not one that came in from elsewhere since.
    known = [d for d in r.open_decisions if event.knew_of(d.event.place)]
    as_strong = bool(p.public_key) or not any(s.public_key for s in r.signatures)  # a name covers for no key
    over = tuple(
        replace(c, signed_over=p.name) if as_strong and not c.signed_over and event.knew_of(c.event.place) else c
        for c in r.changes
    )
    return {
        "decisions": tuple(
            replace(d, signatures=(*d.signatures, p)) if known and d == known[-1] else d for d in r.decisions
        ),
        "signatures": (*r.signatures, p),
        "signed_at": (*r.signed_at, event.place),
        "changes": (*over, *missed),
    }


RULES: dict[type[ev.Payload], Rule] = {
    **JOB_RULES,
    ev.RoundOpened: _opened,
    ev.CautionAcknowledged: _caution,
    ev.StepPassed: _rule(_passed),
    ev.ClipKept: _rule(_clip),
    ev.ClipTakenBack: _taken_back,
    ev.PointSkipped: _rule(_skipped),
    ev.RoundImported: _rule(lambda job, r, p, e: {}),
    ev.ByEarCalled: _rule(_call),
    ev.BubblesLooked: _rule(lambda job, r, p, e: {"bubbles": p.seen, "readings_changed": True}),
    ev.AirFollowed: _rule(lambda job, r, p, e: {"air_followed": p.seen, "readings_changed": True}),
    ev.TopFoundAgain: _rule(lambda job, r, p, e: {"loss_again": p.loss_percent, "readings_changed": True}),
    ev.Judged: _rule(lambda job, r, p, e: {"judged": (*r.judged, p), "readings_changed": False}),
    ev.Confirmed: _rule(_decided),
    ev.Overruled: _rule(_decided),
    ev.SentBack: _rule(_decided),
    ev.Signed: _rule(_signed, noted=False),
    ev.NumbersShown: lambda job, p, e: job.with_rounds(p.rounds, lambda r: replace(r, shown=(*r.shown, p))),
    ev.PairPlayed: _rule(lambda job, r, p, e: {"played": (*r.played, p)}, noted=False),
    ev.RoundSetAside: _rule(lambda job, r, p, e: {"aside": p.aside}),
}
"""What each kind of event does to the job; every row of ``events.KINDS`` has one."""


def fold(events: Iterable[ev.Event], job: Job | None = None) -> Job:
    """Apply events in order to ``job`` (a new one if not given). Pure: the same events give the same job.

    Events that were withdrawn are passed over, so a withdrawal needs all events, not a job that has them already.
    """
    job, every = job or Job(), tuple(events)
    gone = withdrawn(every)
    since: set[str] = set()  # passed over since the latest verdict: their withdrawal leaves it as it was judged
    for event in every:
        # Counted though passed over: how far a journal goes must not hang on what counts in it.
        if event.id in gone:
            since.add(event.id)
            job = _counted(_still_revealed(job, event.payload), event)
            continue
        before, job, payload = job, apply(job, event), event.payload
        if isinstance(payload, ev.Judged):
            since.clear()
        # What came and went since the latest verdict leaves it as it was.
        elif isinstance(payload, ev.Withdrawn) and payload.event in since:
            rounds = zip(job.rounds, before.rounds, strict=True)
            job = replace(job, rounds=tuple(replace(r, readings_changed=was.readings_changed) for r, was in rounds))
    if any(event.knew is not None for event in every):  # only where journals were merged, and then from the first on
        job = replace(job, troubles=(*job.troubles, *conflicts(every)))
    return job


def _still_revealed(job: Job, p: ev.Payload) -> Job:
    """What a call by ear let be seen stays seen, though the call was taken back."""
    match p:
        case ev.ByEarCalled(role="tech") | ev.StepPassed(step="call"):
            return job.with_rounds([p.round_id], lambda r: replace(r, revealed=True))
    return job


def withdrawn(events: Sequence[ev.Event]) -> dict[str, ev.Event]:
    """Events that count no more, by id, each with the withdrawal that says so. The last word on each counts."""
    gone: dict[str, ev.Event] = {}
    may_be = {e.id for e in events if isinstance(e.payload, ev.Withdrawable)}
    # From the end: a withdrawal that was itself withdrawn later is known by then, and says nothing.
    for event in reversed(events):
        p = event.payload
        if isinstance(p, ev.Withdrawn) and event.id not in gone and p.event in may_be:
            gone.setdefault(p.event, event)
    return gone


def apply(job: Job, event: ev.Event) -> Job:
    """The job after one more event. An event that makes no sense here is told among the troubles, never raised."""
    trouble = ""
    try:
        job = _with_references(job, RULES[type(event.payload)](job, event.payload, event), event)
    except NotActedUpon as e:
        trouble = f"event {event.id} {e}"
    except KeyError as e:
        trouble = f"event {event.id} ({event.kind}) speaks of {e}, which this job does not have"
    # Lines come from other versions and other hands: one that no rule can take must not close the job.
    except (ArithmeticError, HisswayError, LookupError, TypeError, ValueError) as e:
        trouble = f"event {event.id} ({event.kind}) cannot be understood ({type(e).__name__}: {e})"
    return _counted(replace(job, troubles=(*job.troubles, trouble)) if trouble else job, event)


DECIDED = ev.Confirmed | ev.Overruled | ev.SentBack
MOVE_REFERENCES = ev.ClipKept | ev.ClipTakenBack | ev.Judged | DECIDED | ev.ReadingEntered | ev.StepPassed
"""Events on one cylinder that may change which clips stand beside another as those of a sound cylinder."""


def _with_references(before: Job, after: Job, event: ev.Event) -> Job:
    """Note on every signed round that other clips stand beside it than before the event."""
    if not isinstance(event.payload, MOVE_REFERENCES):
        return after
    # Only there does anything stand that could be changed under somebody's name.
    signed = [r.id for r in before.rounds if r.signed]
    moved = [one for one in signed if {c.id for c in lent(before, one)} != {c.id for c in lent(after, one)}]
    return after.with_rounds(moved, lambda r: r.noting(event, lent_words(after, r.id)))


def _counted(job: Job, event: ev.Event) -> Job:
    return replace(job, events=job.events + 1, opened=job.opened or event.time, changed=event.time)
