"""What had been shown and played to a person before they decided about a round, from the journal's own account."""

from __future__ import annotations

from collections import Counter

from listen.jobs.decision import Heard
from listen.jobs.events import ByEarCalled
from listen.jobs.job import Job, RoundRecord


def same_person(a: str, b: str) -> bool:
    """Whether two typed names are the same but for capitals and spaces; nobody is the same as nobody."""
    return bool(a.strip()) and a.casefold().split() == b.casefold().split()


def heard(record: RoundRecord, name: str, sitting: str) -> Heard:
    """How someone who decides in ``sitting`` has heard the round until now.

    Pairs count where they were played in this sitting, numbers wherever they were shown to this person, however long
    ago: what was seen cannot be unseen.
    """
    if not sitting:
        return Heard()
    called, pairs_before = first_call(record, name, sitting)
    return Heard(
        recorded=True,
        pairs=tuple(sorted(Counter(p.point for p in record.played if p.sitting == sitting).items())),
        pairs_before_call=pairs_before,
        called=called,
        numbers_first=called is None or not called.before_numbers,
    )


def first_call(record: RoundRecord, name: str, sitting: str) -> tuple[ByEarCalled | None, int]:
    """This person's first call as supervisor in this sitting, and how many pairs they had been played before it."""
    for call, pairs in zip(record.calls, record.pairs_before, strict=True):
        if call.role == "supervisor" and call.sitting == sitting and same_person(call.name, name):
            return call, pairs
    return None, 0


def numbers_seen(record: RoundRecord, name: str, sitting: str) -> bool:
    """Whether numbers of the round have been shown to this person, in this sitting or any before."""
    return any(s.sitting == sitting or same_person(s.name, name) for s in record.shown)


def recorded_by(job: Job, record: RoundRecord, name: str) -> bool:
    """Whether this person recorded clips of the round, or is the tech who recorded it."""
    actors = {c.actor for c in record.clips} | {c.name for c in record.calls if c.role == "tech"}
    techs = {s.name for s in job.sat if s.role == "tech"} if not any(actors) else set()
    return any(same_person(name, who) for who in (*actors, *techs, job.people.get("tech", "")))
