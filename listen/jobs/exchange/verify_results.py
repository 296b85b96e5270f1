"""Every stored result judged again from the clips it names; one by another version is told, not accused."""

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec

from listen.errors import HisswayError
from listen.jobs.events import Judged
from listen.jobs.exchange.verification import Judge, Mismatch
from listen.jobs.fold import fold
from listen.jobs.folder.chain import Chain
from listen.jobs.job import Job
from listen.jobs.teardowns import LEAST
from listen.jobs.to_round import clips_used, program_version, to_round
from listen.judge.result import Verdict
from listen.voice import verdicts


def check_results(
    folder: Path,
    chain: Chain,
    judge: Judge | None,
    vouched: frozenset[str] = frozenset(),
    bad_clips: frozenset[str] = frozenset(),
) -> tuple[list[Mismatch | str], int, int]:
    """Judge every stored result again: what there is to tell, how many count as judged, and how many were skipped.

    Without a judge only results outside ``vouched``, ids of events that something else vouches for, count as skipped.
    ``bad_clips`` holds ids of clips that are not the ones kept: nothing is judged from them, and they are not opened.
    """
    every = tuple(chain.events())
    results = skipped = 0
    told: list[Mismatch | str] = []
    for n, event in enumerate(every):
        if not isinstance(stored := event.payload, Judged):
            continue
        results += 1
        # The job as it was where it was judged: without what a merge put before it that was not known there.
        job = fold(e for e in every[:n] if event.knew_of(e.place))
        few, remark = _teardowns(stored)
        why = _wrong_clips(job, stored, bad_clips) or few
        if not why and judge is not None:
            why, differs = _again(folder, job, stored, judge)
            remark = "; ".join(filter(None, (remark, differs)))
        elif not why and event.id not in vouched:
            skipped += 1
        if why:
            told.append(Mismatch("result", f"round {stored.round_id}, event {event.id}", why))
        if remark:
            told.append(f"result of round {stored.round_id}: {remark}")
    return told, results - skipped, skipped


def _wrong_clips(job: Job, stored: Judged, bad: frozenset[str]) -> str:
    if job.find_round(stored.round_id) is None:
        return "it speaks of a round that is not in the journal before it"
    if clips_used(job, stored.round_id) != stored.clips:
        return "it names other clips than the round held when it was judged"
    missing = sum(clip in bad for clip in stored.clips)
    return f"it cannot be computed again: {missing} of its clips are not the ones kept" if missing else ""


def _teardowns(stored: Judged) -> tuple[str, str]:
    """What is wrong with a shop's counts in a result, or what there is to say of them."""
    shop = stored.result.shop
    if shop is None:
        return "", ""
    if shop.findings < LEAST:
        return f"it counts {shop.findings} teardowns of its shop; from {LEAST} on they may count", ""
    return "", f"{shop.findings} teardowns of its shop count in it, which are not in this job"


def _again(folder: Path, job: Job, stored: Judged, judge: Judge) -> tuple[str, str]:
    """Why the result does not follow from its clips, or what there is to say of one by another version."""
    try:
        round_, result = to_round(job, stored.round_id, folder), stored.result
        # With what it says it was given: the shop's counts are nowhere else, and older results were judged alone.
        engine = None if result.engine is None else round_.engine
        again = judge(replace(round_, engine=engine, shop=result.shop))
    except HisswayError as e:
        return f"it cannot be computed again: {e}", ""
    where = first_difference(msgspec.to_builtins(stored.result), msgspec.to_builtins(again))
    if not where:
        return "", ""
    # The same version has to say the same; another one may have learnt since.
    if stored.version == program_version():
        return f"computed again from its clips it differs at {where}", ""
    then, now = _words(stored.result.verdict), _words(again.verdict)
    today = "today's says the same, by other figures" if then == now else f"today's says {now}"
    return "", f"judged by version {stored.version or 'unknown'} ({then}); {today}"


def _words(verdict: Verdict) -> str:
    return verdicts.verdict(verdict.kind, verdict.paths, verdict.probability)


SAME_RELATIVE = 5e-5
SAME_ABSOLUTE = 1.5e-3
"""Results are stored with three digits; one unit of the last may differ between machines, more may not."""
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def first_difference(a: Any, b: Any, at: str = "") -> str:
    """Where two results (as plain values) differ beyond the last digits; empty where they do not."""
    if isinstance(a, dict) and isinstance(b, dict):
        keys = sorted(a.keys() | b.keys())
        return next((d for k in keys if (d := first_difference(a.get(k), b.get(k), f"{at}.{k}".lstrip(".")))), "")
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        if len(a) != len(b):
            return f"{at} ({len(a)} then, {len(b)} now)"
        pairs = enumerate(zip(a, b, strict=True))
        return next((d for n, (x, y) in pairs if (d := first_difference(x, y, f"{at}[{n}]"))), "")
    # A truth value is a number to Python, and none to a reader.
    numbers = all(isinstance(x, int | float) and not isinstance(x, bool) for x in (a, b))
    same = a == b or (numbers and math.isclose(a, b, rel_tol=SAME_RELATIVE, abs_tol=SAME_ABSOLUTE))
    if same or (isinstance(a, str) and isinstance(b, str) and _same_words(a, b)):
        return ""
    return f"{at} ({a!r} then, {b!r} now)"


def _same_words(a: str, b: str) -> bool:
    """Same sentence, each number in it the same within one unit of its last digit."""
    # The words between the numbers first: only figures may differ, and by a last digit.
    if _NUMBER.split(a) != _NUMBER.split(b):
        return False
    pairs = zip(_NUMBER.findall(a), _NUMBER.findall(b), strict=True)
    decimals = [(x, y, len(x.partition(".")[2]), len(y.partition(".")[2])) for x, y in pairs]
    return all(m == n and abs(float(x) - float(y)) <= 1.01 * 10.0**-n for x, y, m, n in decimals)
