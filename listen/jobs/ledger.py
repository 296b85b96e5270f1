"""The ledger of a cylinder or a job: each step and event in words, what stands, what was taken back, how it comes back.

Folded from the events; screens draw it, nothing else keeps it.
"""

from collections.abc import Iterable, Iterator
from typing import Literal

import msgspec

from listen.jobs import events as ev
from listen.jobs.event_words import SECTIONS, STEPS, event_words, section
from listen.jobs.fold import withdrawn
from listen.jobs.job import Job, RoundRecord
from listen.jobs.walk import walked
from listen.same_fields import same_fields
from listen.voice.names import point_name

State = Literal["stands", "replaced", "taken-back", "left-out", "due"]


class Line(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    """Of the event; of a step that is due ``due:round:step:point``."""
    section: str
    """Step of the round it belongs to, see :data:`listen.jobs.event_words.SECTIONS`."""
    words: str
    state: State = "stands"
    why: str = ""
    time: str = ""
    actor: str = ""
    payload: ev.Payload | None = None
    round_id: str | None = None
    cylinder: int | None = None
    kind: str = ""
    undone_by: ev.Event | None = None
    """What took it back: withdrawing that brings it back."""

    @property
    def may_be_taken_back(self) -> bool:
        if self.state not in ("stands", "left-out"):
            return False
        return isinstance(self.payload, ev.ClipKept | ev.PhotoKept | ev.Withdrawable)

    @property
    def may_come_back(self) -> bool:
        """Whether it does not stand, and can again."""
        return self.undone_by is not None or (self.state == "replaced" and type(self.payload) in AGAIN)


AGAIN = (ev.ReadingEntered, ev.PlugSeen, ev.BubblesLooked, ev.AirFollowed, ev.TopFoundAgain, ev.FindingRecorded)
"""Of these the last one counts: one that was replaced comes back by being said again."""


class Part(msgspec.Struct, frozen=True, kw_only=True):
    record: RoundRecord | None
    lines: tuple[Line, ...]


def ledger(events: Iterable[ev.Event], job: Job, cylinder: int | None) -> tuple[Part, ...]:
    """A cylinder's rounds, the latest first, each with the steps still due, then what was read and seen of it beside
    them; None: what was of the whole job."""
    lines = _lines(events, job)
    beside = Part(record=None, lines=_in_order(x for x in lines if x.round_id is None and x.cylinder == cylinder))
    rounds = () if cylinder is None else reversed(job.rounds_of(cylinder))
    parts = (
        Part(record=r, lines=_in_order((*(x for x in lines if x.round_id == r.id), *_due(job, r)))) for r in rounds
    )
    return (*parts, beside)


def take_back(line: Line, reason: str) -> ev.Payload:
    if isinstance(line.payload, ev.ClipKept):
        return ev.ClipTakenBack(clip=line.payload.clip, reason=reason)
    if isinstance(line.payload, ev.PhotoKept):
        return ev.PhotoTakenBack(photo=line.payload.photo, reason=reason)
    return _withdraw(line, line, reason)


def bring_back(line: Line, reason: str = "") -> ev.Payload:
    if not line.undone_by:
        assert line.payload is not None
        return line.payload
    if isinstance(line.payload, ev.PhotoKept):  # as the list of photos says it
        return ev.PhotoTakenBack(photo=line.payload.photo, reason=reason, again=True)
    return _withdraw(line.undone_by, line, reason)


def _withdraw(what: Line | ev.Event, line: Line, reason: str) -> ev.Withdrawn:
    return ev.Withdrawn(event=what.id, kind=what.kind, reason=reason, round_id=line.round_id, cylinder=line.cylinder)


def _in_order(lines: Iterable[Line]) -> tuple[Line, ...]:
    order = list(SECTIONS)
    return tuple(sorted(lines, key=lambda x: order.index(x.section)))


def _lines(events: Iterable[ev.Event], job: Job) -> list[Line]:
    every = tuple(events)
    gone = withdrawn(every)
    undone = {**gone, **_undone([e for e in every if e.id not in gone])}
    # Of those that are not withdrawn the last one stays, since later ones overwrite.
    latest = {_key(e.payload): e.id for e in every if e.id not in gone and isinstance(e.payload, AGAIN)}
    return [line for e in every if (line := _line(e, job, undone, latest)) is not None]


def _undone(events: Iterable[ev.Event]) -> dict[str, ev.Event]:
    """By event: what took it back otherwise than by withdrawing it."""
    undone: dict[str, ev.Event] = {}
    about: dict[object, list[str]] = {}
    """Events by what they are about: a clip, a photo, a fact of a cylinder or of the engine."""
    for e in events:
        match e.payload:
            case ev.ClipKept(clip=id) | ev.PhotoKept(photo=id):
                about[id] = [e.id]
            case ev.SymptomNoted(symptom=fact) | ev.SymptomsAsked(symptoms=(fact,)):
                about.setdefault((fact, e.payload.cylinder), []).append(e.id)
            # One of a round is no answer to the facts: it is withdrawn by itself.
            case ev.ReadingEntered(reading=fact, round_id=None):
                about.setdefault((fact, e.payload.cylinder), []).append(e.id)
            case ev.ClipTakenBack(clip=id) | ev.PhotoTakenBack(photo=id, again=False):
                undone |= dict.fromkeys(about.get(id, ()), e)
            case ev.PhotoTakenBack(photo=id):
                for kept in about.get(id, ()):
                    undone.pop(kept, None)
            case ev.AnswerWithdrawn(fact=fact, cylinder=cylinder):
                # Popped: the same fact told later stands by itself.
                undone |= dict.fromkeys(about.pop((fact, cylinder), ()), e)
    return undone


def _line(event: ev.Event, job: Job, undone: dict[str, ev.Event], latest: dict[object, str]) -> Line | None:
    payload = event.payload
    if not (words := event_words(payload, job)):
        return None
    by = undone.get(event.id)
    replaced = (isinstance(payload, AGAIN) and latest.get(_key(payload)) != event.id) or _lifted(payload, job)
    left = isinstance(payload, ev.PointSkipped | ev.StepPassed)
    state: State = "taken-back" if by else "replaced" if replaced else "left-out" if left else "stands"
    return Line(
        **same_fields(event, "id", "time", "actor", "payload", "kind"),
        section=section(payload),
        words=words,
        state=state,
        why=getattr(by.payload, "reason", "") if by else "",
        round_id=getattr(payload, "round_id", None),
        cylinder=getattr(payload, "cylinder", None),
        undone_by=by,
    )


def _key(payload: ev.Payload) -> object:
    """Of events alike in this the last one counts."""
    about = (getattr(payload, "round_id", None), getattr(payload, "cylinder", None), getattr(payload, "reading", ""))
    return type(payload), about


def _lifted(payload: ev.Payload, job: Job) -> bool:
    """Whether something left out was taken up again since."""
    if not isinstance(payload, ev.PointSkipped | ev.StepPassed):
        return False
    record = job.find_round(payload.round_id)
    if record is None:  # a line about a round that never began, from a job made elsewhere
        return False
    if isinstance(payload, ev.PointSkipped):
        return not payload.skipped or record.skip(payload.point, payload.walk) is None
    return record.steps_left_out.get(payload.step) != payload.reason


def _due(job: Job, record: RoundRecord) -> Iterator[Line]:
    for step in walked(job, record.id).steps:
        if step.state == "due" and not record.signed:
            yield Line(
                id=f"due:{record.id}:{step.id}:{step.point}",
                section=step.walk or STEPS.get(step.id, step.id),
                words=f"clip at the {point_name(step.point)}" if step.kind == "clip" else step.sentence,
                state="due",
                round_id=record.id,
                cylinder=record.cylinder,
            )
