"""Every stored result judged again from the clips it names; one by another version is told, not accused."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import msgspec

from listen.errors import HisswayError
from listen.jobs.events import Judged
from listen.jobs.exchange.job_before import EventAfterJob, with_job_before
from listen.jobs.exchange.same_result import first_difference
from listen.jobs.exchange.verification import Mismatch
from listen.jobs.folder.chain import Chain
from listen.jobs.judging import program_version
from listen.jobs.teardowns import LEAST
from listen.jobs.to_round import clips_used, to_round
from listen.judge.result import RoundResult, Verdict
from listen.rounds.model import Round
from listen.voice import verdicts

Evaluate = Callable[[Round], RoundResult]


class Results(msgspec.Struct, frozen=True):
    """What judging again gave."""

    checked: int
    skipped: int
    faults: tuple[Mismatch, ...]
    remarks: tuple[str, ...]


def check_results(
    folder: Path,
    chain: Chain,
    evaluate: Evaluate | None,
    vouched: frozenset[str] | None,
    bad_clips: frozenset[str] = frozenset(),
) -> Results:
    """Judge every stored result again.

    Parameters
    ----------
    bad_clips
        Ids of clips that are not the ones kept; nothing is judged from them, and they are not opened.
    evaluate
        How a round is judged; the judge of this program if not given.
    vouched
        Ids of events that something else vouches for: then nothing is judged again, and only results outside them
        count as skipped. None judges everything.
    """
    done: set[str] = set()
    skipped = 0
    faults: list[Mismatch] = []
    remarks: list[str] = []
    for before in with_job_before(chain.lines):
        stored, event = before.event.payload, before.event.id
        if not isinstance(stored, Judged) or event in done:
            continue
        done.add(event)
        few, remark = _teardowns(stored)
        why = _named_clips(before, stored) or _bad_clips(stored, bad_clips) or few
        if not why and vouched is None:
            why, differs = _again(folder, before, stored, evaluate or _judge())
            remark = "; ".join(filter(None, (remark, differs)))
        elif not why and event not in (vouched or ()):
            skipped += 1
        if why:
            faults.append(Mismatch("result", f"round {stored.round_id}, event {event}", why))
        if remark:
            remarks.append(f"result of round {stored.round_id}: {remark}")
    return Results(len(done) - skipped, skipped, tuple(faults), tuple(remarks))


def _judge() -> Evaluate:
    from listen.rounds.evaluate import evaluate

    return evaluate


def _named_clips(before: EventAfterJob, stored: Judged) -> str:
    try:
        named = clips_used(before.job, stored.round_id)
    except KeyError:
        return "it speaks of a round that is not in the journal before it"
    return "" if named == stored.clips else "it names other clips than the round held when it was judged"


def _teardowns(stored: Judged) -> tuple[str, str]:
    """What is wrong with a shop's counts in a result, or what there is to say of them."""
    shop = stored.result.shop
    if shop is None:
        return "", ""
    if shop.findings < LEAST:
        return f"it counts {shop.findings} teardowns of its shop; from {LEAST} on they may count", ""
    return "", f"{shop.findings} teardowns of its shop count in it, which are not in this job"


def _bad_clips(stored: Judged, bad: frozenset[str]) -> str:
    missing = [clip for clip in stored.clips if clip in bad]
    return f"it cannot be computed again: {len(missing)} of its clips are not the ones kept" if missing else ""


def _again(folder: Path, before: EventAfterJob, stored: Judged, evaluate: Evaluate) -> tuple[str, str]:
    """Why the result does not follow from its clips, or what there is to say of one by another version."""
    try:
        round_, result = to_round(before.job, stored.round_id, folder), stored.result
        # With what it says it was given: the shop's counts are nowhere else, and older results were judged alone.
        engine = None if result.engine is None else round_.engine
        again = evaluate(replace(round_, engine=engine, shop=result.shop))
    except HisswayError as e:
        return f"it cannot be computed again: {e}", ""
    where = first_difference(msgspec.to_builtins(stored.result), msgspec.to_builtins(again))
    if not where:
        return "", ""
    if stored.version == program_version():
        return f"computed again from its clips it differs at {where}", ""
    then, now = _words(stored.result.verdict), _words(again.verdict)
    today = "today's says the same, by other figures" if then == now else f"today's says {now}"
    return "", f"judged by version {stored.version or 'unknown'} ({then}); {today}"


def _words(verdict: Verdict) -> str:
    return verdicts.verdict(verdict.kind, verdict.paths, verdict.probability)
