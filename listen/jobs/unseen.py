"""What came to a round from elsewhere before someone who had not seen it decided, signed or judged on it."""

from collections.abc import Iterable

from listen.jobs.events import Confirmed, Judged, Overruled, Payload, SentBack, Signed
from listen.jobs.job import Job, RoundRecord


def unseen(known: Job, now: Job, payloads: Iterable[Payload]) -> str:
    """One sentence where one of the events stands on a round that is not as it was known; empty where all are."""
    for payload in payloads:
        if not isinstance(payload, Confirmed | Overruled | SentBack | Signed | Judged):
            continue
        before, after = _round(known, payload.round_id), _round(now, payload.round_id)
        if before is not None and after is not None and (what := news(before, after)):
            return f"cylinder {after.cylinder}: meanwhile {what}; nothing was written, look again"
    return ""


def news(before: RoundRecord, after: RoundRecord) -> str:
    """What touched a round or was signed between two states of it, in a few words; empty where nothing did."""
    touched = [f"{c.what} by {c.actor or 'someone unnamed'}" for c in after.touches[len(before.touches) :]]
    signed = [f"signed by {s.name}" for s in after.signatures[len(before.signatures) :]]
    return ", ".join(dict.fromkeys((*touched, *signed)))


def _round(job: Job, round_id: str) -> RoundRecord | None:
    return next((r for r in job.rounds if r.id == round_id), None)
