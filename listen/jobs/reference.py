"""What other cylinders of an engine lend a round: their clips as the sound cylinder's, or what their rounds say;
and what a signature covers: said on screens, in the report and by verify."""

from listen.jobs.events import Overruled
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.judge.result import EngineSay
from listen.voice import figures
from listen.voice.text import plain

USABLE_LOSS_PERCENT = 20.0
"""Loss up to which a cylinder whose round was not judged may stand in as sound (trade rule of thumb: 10-20 usable)."""
CLEARLY_LESS_POINTS = 5.0
"""So many points of loss must lie between the reference and the cylinder under test (trade: repeats agree within 5)."""


DECLINED = "reference"
"""Step under which a round says that no other cylinder is to stand beside it; an empty reason takes that back."""


def why_no_reference(record: RoundRecord) -> str:
    """Why no other cylinder is to stand beside this round; empty where one may."""
    return record.steps_left_out.get(DECLINED, "")


def reference_rounds(job: Job, round_id: str) -> tuple[RoundRecord, ...]:
    """Rounds of other cylinders of this engine that may serve, the best first: judged sound, then lowest loss."""
    record = job.round(round_id)
    others = [r for r in job.rounds if r.cylinder != record.cylinder and _with_air(r)]
    # Stable: of equal losses the earlier round comes first.
    others.sort(key=lambda r: _loss(job, r))
    # A cylinder that nobody judged may leak as well: it must lose clearly less than the one it is to be held against.
    limit = min(USABLE_LOSS_PERCENT, _loss(job, record) - CLEARLY_LESS_POINTS)
    silent = (r for r in others if _kind_of(r) in ("", "unclear") and _loss(job, r) <= limit)
    return (*(r for r in others if _kind_of(r) == "sound"), *silent)


def references(job: Job, round_id: str) -> dict[str, ClipRecord]:
    """The reference clip for each point of a round: one recorded for it, else the best round's air or switched clip.

    Where the round declined other cylinders only clips recorded for it count.
    """
    record = job.round(round_id)
    # The best last, so that its clips are the ones that stay.
    others = () if why_no_reference(record) else reversed(reference_rounds(job, round_id))
    return {c.kept.point: c for c in (*(c for r in others for c in _with_air(r)), *recorded_for_it(record))}


def recorded_for_it(record: RoundRecord) -> tuple[ClipRecord, ...]:
    """Clips of a sound cylinder that were taken in this very round."""
    return tuple(c for c in record.live_clips() if c.kept.clip_kind == "sound")


def lent(job: Job, round_id: str) -> list[ClipRecord]:
    """Reference clips that were recorded in other rounds."""
    return [c for c in references(job, round_id).values() if c.kept.round_id != round_id]


def lent_words(job: Job, round_id: str) -> str:
    """What stands beside a round now, as one sentence."""
    clips = lent(job, round_id)
    cylinders = sorted({job.round(c.kept.round_id).cylinder for c in clips})
    if not clips:
        return "no sound cylinder's clips stand beside it any more"
    lending = f"{figures.counted(len(clips), 'clip')} of cylinder {' and '.join(map(str, cylinders))}"
    return f"{lending} now stand beside it as sound"


def _with_air(record: RoundRecord) -> tuple[ClipRecord, ...]:
    return (*record.live_clips(walk="air"), *record.live_clips(walk="switched"))


def reference_cylinders(job: Job, round_id: str) -> tuple[int, ...]:
    here = job.round(round_id).cylinder
    cylinders = {job.round(c.kept.round_id).cylinder for c in references(job, round_id).values()}
    return tuple(sorted(cylinders - {here}))


def engine_said(job: Job, round_id: str) -> tuple[EngineSay, ...]:
    """What the latest round of each other cylinder says of the engine, by cylinder.

    It came through the same input, its result is fresh, and its clips do not stand beside this round already.
    """
    record = job.round(round_id)
    if why_no_reference(record):
        return ()
    beside, latest = reference_cylinders(job, round_id), {}
    for other in job.rounds:
        if other.cylinder != record.cylinder and not other.aside and _inputs(other) == _inputs(record):
            of_engine = other.verdict.result.engine if other.verdict is not None and not other.stale else None
            if of_engine is not None and other.cylinder not in beside:
                latest[other.cylinder] = of_engine
    return tuple(of_engine for _, of_engine in sorted(latest.items()))


def told_since(job: Job, round_id: str) -> tuple[int, ...]:
    """Cylinders that tell of the engine now and were not judged yet when this round was; none once it is signed."""
    record = job.round(round_id)
    judged = record.verdict
    if judged is None or judged.result.engine is None or record.signed:
        return ()
    return tuple(one.cylinder for one in engine_said(job, round_id) if one.cylinder not in judged.result.told_by)


def _inputs(record: RoundRecord) -> set[tuple[str, float | None]]:
    # A level is only comparable through one microphone at one gain.
    return {(c.kept.device, c.kept.gain_db) for c in record.live_clips()}


def _kind_of(record: RoundRecord) -> str:
    """What the supervisor who overruled, or else the latest fresh verdict, says of a cylinder; empty for nothing."""
    decided = record.decision.payload if record.decision else None
    # A person's word goes before the program's, whenever either was said.
    if isinstance(decided, Overruled):
        return "sound" if decided.paths == ("none",) else "leaking"
    return record.verdict.result.verdict.kind if record.verdict and not record.stale else ""


def _loss(job: Job, record: RoundRecord) -> float:
    """Loss read in the round, else on its cylinder; a cylinder without any counts as the worst."""
    read = job.reading_for("loss", record)
    # A cylinder nobody measured may lose anything: it stands behind all that were.
    return read.si if read else 100.0


def covers(job: Job, record: RoundRecord) -> str:
    """What a signature put under the round now covers, as one sentence."""
    counted = (
        (len(record.live_clips()), "clip", ""),
        (len(lent(job, record.id)), "clip", " of a sound cylinder beside it"),
        (len(record.calls), "call", " by ear"),
        (len(record.judged), "verdict", ""),
        (len(record.decisions), "decision", ""),
    )
    covered = (
        "title, shop, complaint, units and description of the engine",
        f"readings, plug, symptoms and finding of cylinder {record.cylinder} and of the whole engine",
        *(f"{figures.counted(n, what)}{more}" for n, what, more in counted if n),
    )
    return f"The signature covers {'; '.join(covered)}."


def beside_it(job: Job, record: RoundRecord) -> str:
    """Which sound cylinder a verdict was compared with, in words."""
    if len(job.engine.cylinders) == 1:
        return "The engine has one cylinder: there is no sound one to compare with"
    if why := why_no_reference(record):
        return f"Sound cylinder left out on purpose: {plain(why, 200)}"
    if others := reference_cylinders(job, record.id):
        return f"Sound cylinder beside it: {' and '.join(map(str, others))}"
    if recorded_for_it(record):
        return "Beside it: what was recorded for it at a sound cylinder"
    return "No sound cylinder to compare with: walk a good one"
