"""What is worked out for a round beside the clips: the judging, clips recorded elsewhere, the quiet spectrum."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from listen.errors import HisswayError
from listen.jobs.bring_in import Recording
from listen.jobs.events import ClipTakenBack, RoundImported
from listen.jobs.job import ClipRecord, RoundRecord
from listen.jobs.reference import engine_said, why_no_reference
from tui.bridge.threads import in_thread
from tui.screens.round.bench import Bench
from tui.screens.round.now import Outcome
from tui.screens.round.taker import Taker, refusal


def rests_on(record: RoundRecord) -> tuple[str, ...]:
    """What a result would rest on: it is not tried twice on the same."""
    return (why_no_reference(record), *(c.id for c in record.live_clips()))


async def judge(bench: Bench) -> None:
    from listen.jobs.teardowns import with_teardowns
    from listen.jobs.to_round import clips_used, judged, to_round

    try:
        job = bench.opened.job
        own = to_round(job, bench.round_id, bench.opened.folder)
        round_ = await in_thread(with_teardowns, own, job, bench.opened.folder.parent)
        result = await bench.bay.services.evaluate(round_)
        bench.change(outcome=None)
        event = judged(job, bench.round_id, result)
        now = await in_thread(bench.opened.catch_up)
        # something came in meanwhile: a clip, or a result of another cylinder
        if clips_used(now, bench.round_id) != event.clips or engine_said(now, bench.round_id) != round_.engine:
            bench.change(tried=())
            return
        bench.write(event)
    except HisswayError as e:
        bench.change(outcome=Outcome(False, f"{e} Space tries again.", lead="Not judged"))
    finally:
        bench.change(judging=False)


async def bring_in(bench: Bench, taker: Taker, place: Path, recordings: Sequence[Recording] = ()) -> None:
    """Import clips recorded elsewhere, check each as if it had been recorded here, and say what came in.

    ``recordings`` are those of the place that were named in a list; without them its files are named already.
    """
    from listen.jobs.bring_in import bring_in, bring_named

    before = {c.id for c in bench.record.clips}
    take = partial(bring_named, recordings=recordings) if recordings else partial(bring_in, place=place)
    try:
        event = await in_thread(take, bench.opened, bench.round_id)
    except HisswayError as e:
        bench.change(outcome=Outcome(False, str(e), lead="Not imported"))
        return
    bench.show_changed_job()
    new = [c for c in bench.record.clips if c.id not in before]
    refused = [text for c in new if (text := await _refused(bench, taker, c))]
    bench.change(outcome=Outcome(True, " ".join([_brought(event), *refused])))


async def _refused(bench: Bench, taker: Taker, clip: ClipRecord) -> str:
    """Check one imported clip; take it back and say why where it cannot be believed."""
    check = await taker.check(clip.kept.point, clip.kept.walk, clip.id)
    if check is None or check.kept:
        return ""
    bench.write(ClipTakenBack(clip=clip.id, reason=refusal(check)))
    return f"Taken back, {clip.kept.imported_from}: {refusal(check)}"


def _brought(event: RoundImported) -> str:
    """What an import did, in one sentence."""
    text = f"{len(event.files)} clips imported."
    return f"{text} Left out: {'; '.join(event.left_out)}" if event.left_out else text
