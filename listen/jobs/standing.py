"""What stands for a round, a person's decision where there is one, else the program's verdict; and who waits for whom.

A decision stands above the verdict wherever a cylinder is spoken of. It is the word of a person: it names no
probability, and it is never handed on as if a microphone had measured it.
"""

from collections.abc import Iterable
from typing import Literal

import msgspec
from msgspec.structs import replace

from listen.jobs.decision import Decision
from listen.jobs.events import Overruled, SentBack
from listen.jobs.job import Job, RoundRecord
from listen.judge.result import Verdict

By = Literal["nobody", "program", "person"]
How = Literal["", "agreed", "overruled", "sent-back"]


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    round_id: str
    cylinder: int
    by: By
    """``person``: agreed or overruled. ``program``: its verdict, undecided or sent back. ``nobody``: not judged."""
    kind: str = ""
    """As of a verdict: ``path``, ``several``, ``sound``, ``fitting``, ``set-up``, ``unclear``; empty for nobody."""
    paths: tuple[str, ...] = ()
    """Paths named; empty where sound or unclear."""
    probability: float | None = None
    """The program's, where the program's verdict stands; a person's word has none."""
    how: How = ""
    name: str = ""
    own_work: bool = False
    """True where whoever decided had recorded the round themselves."""
    program_then: Verdict | None = None
    stale: bool = False
    """True where clips or readings changed since the program judged."""
    changed: tuple[str, ...] = ()
    """What changed since it was signed, or was not known to whoever signed; one sentence each."""
    disputed: bool = False
    """Whether persons decided differently without knowing of each other, and nobody has settled it yet."""
    request_met: bool = False
    """For a round that was sent back: the clip asked for came in, or was left out with a reason; it waits again."""

    @property
    def waits(self) -> bool:
        """Whether the round waits for a supervisor: judged and undecided, come back, or disputed."""
        # Even where both are signed: two answers to one engine are none until somebody settles it.
        if self.disputed:
            return True
        return self.by == "program" and not self.stale and (self.how != "sent-back" or self.request_met)


def standing(record: RoundRecord) -> Standing:
    stands = Standing(
        round_id=record.id,
        cylinder=record.cylinder,
        by="nobody",
        stale=record.stale,
        changed=record.changed_after_signing,
    )
    if record.verdict:
        said = record.verdict.result.verdict
        odds = said.probability
        stands = replace(stands, by="program", kind=said.kind, paths=_named(said.paths), probability=odds)
    if (d := record.decision) is None:
        return stands
    stands = replace(
        stands,
        name=d.payload.name,
        own_work=d.own_work,
        program_then=d.on.result.verdict if d.on else None,
        disputed=len({(kind, frozenset(paths)) for kind, paths in map(_comes_to, record.open_decisions)}) > 1,
    )
    if isinstance(d.payload, SentBack):
        return replace(stands, how="sent-back", request_met=record.has_what_was_asked(d) and not record.stale)
    how: How = "overruled" if isinstance(d.payload, Overruled) else "agreed"
    kind, paths = _comes_to(d)
    # A person's word has no odds of ours.
    return replace(stands, by="person", how=how, kind=kind, paths=paths, probability=None)


def standing_of(job: Job, cylinder: int) -> Standing | None:
    """What stands for a cylinder, by the round that counts; None where there is no round."""
    record = latest_round(job, cylinder)
    return standing(record) if record else None


def latest_round(job: Job, cylinder: int) -> RoundRecord | None:
    """The round of a cylinder that counts: the last one judged, else the last begun; none that was set aside."""
    rounds = [r for r in job.rounds_of(cylinder) if r.begun and not r.aside]
    # A round just begun must not hide the verdict before it.
    chosen = [r for r in rounds if r.verdict is not None] or rounds
    return chosen[-1] if chosen else None


def kind_of_paths(paths: tuple[str, ...]) -> str:
    """The kind of verdict that names exactly these paths."""
    named = _named(paths)
    # That there is none is an answer; no path at all is none.
    if len(named) > 1:
        return "several"
    only = named[0] if named else "sound" if paths else "unclear"
    return only if only in ("fitting", "set-up", "sound", "unclear") else "path"


def _named(paths: Iterable[str]) -> tuple[str, ...]:
    return tuple(p for p in paths if p != "none")


def _comes_to(d: Decision) -> tuple[str, tuple[str, ...]]:
    """Kind and paths a decision comes to, as of a verdict; of a send-back what it asks for."""
    if isinstance(d.payload, SentBack):
        return "sent-back", (d.payload.point, d.payload.clip_kind)
    if isinstance(d.payload, Overruled):
        return kind_of_paths(d.payload.paths), _named(d.payload.paths)
    verdict = d.on.result.verdict if d.on else None
    return (verdict.kind, _named(verdict.paths)) if verdict else ("unclear", ())


Why = Literal["again", "disputed", "changed", "to-decide", "sent-back"]
ORDER: tuple[Why, ...] = ("again", "disputed", "changed", "to-decide", "sent-back")
"""Who was asked for something and has answered comes first; what was asked for and has not come is the tech's."""


class Waiting(msgspec.Struct, frozen=True, kw_only=True):
    round_id: str
    cylinder: int
    why: Why
    since: str
    """Time of what last touched the round, UTC, ISO 8601."""
    recorded_by: str = ""
    asked_by: str = ""


def waiting(job: Job) -> tuple[Waiting, ...]:
    """The rounds that count and wait, cylinder by cylinder. Pure."""
    records = (r for n in job.engine.cylinders if (r := latest_round(job, n)) is not None)
    return tuple(
        Waiting(
            round_id=record.id,
            cylinder=record.cylinder,
            why=why,
            since=record.touches[-1].event.time if record.touches else record.opened,
            recorded_by=next(filter(None, (c.event.actor for c in reversed(record.clips))), job.people.get("tech", "")),
            asked_by=stands.name if stands.how == "sent-back" else "",
        )
        for record in records
        if (why := _why(record, stands := standing(record)))
    )


def _why(record: RoundRecord, stands: Standing) -> Why | None:
    # First: while two answers stand nobody can go by either.
    if stands.disputed:
        return "disputed"
    if stands.how == "sent-back":
        return "again" if stands.request_met else "sent-back"
    if record.signed and stands.changed:
        return "changed"
    return "to-decide" if stands.waits and not record.signed else None
