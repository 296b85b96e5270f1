"""What a signature under a round covers, and what changed since: said on screens, in the report and by verify."""

from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.job import Job, RoundRecord
from listen.jobs.note_change import note_change
from listen.jobs.reference import references

MOVE_REFERENCES = (
    ev.ClipKept,
    ev.ClipTakenBack,
    ev.Judged,
    ev.Confirmed,
    ev.Overruled,
    ev.SentBack,
    ev.ReadingEntered,
    ev.StepPassed,
)
"""Events on one cylinder that may change which clips stand beside another as those of a sound cylinder."""


def covers(job: Job, record: RoundRecord) -> str:
    """What a signature put under the round now covers, as one sentence."""
    beside = len([c for c in references(job, record.id).values() if c.kept.round_id != record.id])
    counted = (
        ("clip", len(record.live_clips())),
        ("clip of a sound cylinder beside it", beside),
        ("call by ear", len(record.calls)),
        ("verdict", len(record.judged)),
        ("decision", len(record.decisions)),
    )
    covered = (
        "title, shop, complaint, units and description of the engine",
        f"readings, plug, symptoms and finding of cylinder {record.cylinder} and of the whole engine",
        *(_number(n, what) for what, n in counted if n),
    )
    return f"The signature covers {'; '.join(covered)}."


def _number(n: int, what: str) -> str:
    first, *rest = what.split(" ")
    plural = first if n == 1 else "clips" if first == "clip" else f"{first}s"
    return " ".join((str(n), plural, *rest))


def with_references(before: Job, after: Job, event: ev.Event) -> Job:
    """Note on every signed round that other clips stand beside it than before the event."""
    if not isinstance(event.payload, MOVE_REFERENCES) or not any(r.signed for r in before.rounds):
        return after
    moved = {r.id: _words(after, r.id) for r in before.rounds if r.signed and _beside(before, r) != _beside(after, r)}
    return replace(
        after, rounds=tuple(note_change(r, event, moved[r.id]) if r.id in moved else r for r in after.rounds)
    )


def _beside(job: Job, record: RoundRecord) -> frozenset[str]:
    return frozenset(c.id for c in references(job, record.id).values() if c.kept.round_id != record.id)


def _words(job: Job, round_id: str) -> str:
    clips = [c for c in references(job, round_id).values() if c.kept.round_id != round_id]
    cylinders = sorted({job.round(c.kept.round_id).cylinder for c in clips})
    if not clips:
        return "no sound cylinder's clips stand beside it any more"
    return f"{_number(len(clips), 'clip')} of cylinder {' and '.join(map(str, cylinders))} now stand beside it as sound"
