"""Top dead centre found again where a verdict asks for it: what a loss read then means for the round."""

from listen.jobs.events import AirFollowed, BubblesLooked, ClipTakenBack, Payload, ReadingEntered, TopFoundAgain
from listen.jobs.job import Job, RoundRecord
from listen.jobs.walk import table
from listen.judge.result import TOP_FOUND_AGAIN
from listen.trade.numbers import threshold
from listen.trade.points import PathId

FORMER_STAND = "taken before top dead centre was found again"
"""Why a clip is taken back."""


def is_asked(job: Job, record: RoundRecord) -> bool:
    """Whether the round's verdict asks for it: never twice, and not of a round that is closed."""
    # Where no loss was read none can stay; and what is being walked anew is judged first.
    if record.verdict is None or record.signed or record.clips_changed or job.reading_for("loss", record) is None:
        return False
    verdict = record.verdict.result.verdict
    # A set-up that is named asks for it too: by its kind, as older verdicts do not say it otherwise.
    asks = verdict.next_kind == TOP_FOUND_AGAIN or verdict.kind == PathId.SET_UP
    return asks and not loss_stays(job, record)


def loss_stays(job: Job, record: RoundRecord) -> bool:
    """Whether top dead centre was found again, and the loss that stands now is the one read then."""
    loss = job.reading_for("loss", record)
    return record.loss_again is not None and loss is not None and _same(loss.si, record.loss_again)


def _same(before: float, now: float) -> bool:
    # By how much a loss may differ that is read again with nothing changed, with its source.
    return abs(before - now) <= threshold("loss_repeat_points")


def found_again(job: Job, record: RoundRecord, read: ReadingEntered) -> tuple[Payload, ...]:
    """What is kept of the loss read then: that it stays, or a new reading, and all that was taken at the former stand
    is taken back, to be taken again at this one."""
    before = job.reading_for("loss", record)
    if before is not None and _same(before.si, read.si):
        return (TopFoundAgain(round_id=record.id, loss_percent=read.si),)
    walks = {row.walk for row in table() if row.walk}
    clips = (ClipTakenBack(clip=c.id, reason=FORMER_STAND) for c in record.live_clips() if c.kept.walk in walks)
    bubbles = (BubblesLooked(round_id=record.id, seen=""),) if record.bubbles else ()
    needle = (AirFollowed(round_id=record.id, seen=""),) if record.air_followed else ()
    return read, *clips, *bubbles, *needle


def to_be_taken_again(record: RoundRecord) -> bool:
    """Whether the round has no clip of its walks yet at the stand that was found again."""
    taken = [c for c in record.clips if c.kept.walk != "reference"]
    return bool(taken) and all(c.taken_back for c in taken) and taken[-1].reason == FORMER_STAND
