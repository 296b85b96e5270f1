"""The shop's own teardowns as what its judge may learn from: off until a person lets so many of them count.

What counts is kept in one file beside the jobs, finding by finding, so that later findings change nothing until
somebody lets them count too, and a job's own findings can be left out when its rounds are judged.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import msgspec

from listen.bounded import Cylinder, Decibel
from listen.durable import remove_if_possible, stored, whole_file
from listen.errors import JobError, RoundError
from listen.jobs.folder.journal import utc_now
from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.hit_rate import tested
from listen.jobs.job import Job
from listen.jobs.to_round import facts, to_round
from listen.judge.result import CauseSeen, RoundResult, ShopSeen
from listen.rounds.model import Round
from listen.trade.points import PathId
from listen.trade.restrictor import leak_mm

LEAST = 30
"""Findings from which they may count: fewer tell a share of one fifth no better than the table's guess (binomial
spread 0.07)."""
FILE = ".teardowns.json"
"""Beside the jobs; where it is missing nothing of the shop's counts."""
MOST_BYTES = 5_000_000
LEAST_SHARE = 1e-4
"""A truth given less counts as given this much: one round must not drown the others."""
READ_PERCENT = (0.1, 99.9)
"""A loss outside these is no hole's: the gauge did not move, or nothing held."""


class Torn(msgspec.Struct, frozen=True, kw_only=True):
    job: str
    cylinder: Cylinder
    paths: tuple[PathId, ...]
    log_mm: Decibel | None = None
    """Natural log of the effective hole's bore, mm, where loss, restrictor and supply were read."""


class Counting(msgspec.Struct, frozen=True, kw_only=True):
    findings: tuple[Torn, ...]
    since: str
    by: str = ""


def torn_down(jobs: Iterable[Job]) -> tuple[Torn, ...]:
    """Every finding of real engines, by job and cylinder; the last round before it gives the loss."""
    found = []
    # By id: the same teardowns give the same counts, in whatever order folders are read.
    for job in sorted((j for j in jobs if not j.simulated), key=lambda j: j.id):
        for cylinder, finding in sorted(job.findings.items()):
            with suppress(ValueError):  # a path by a later version
                paths = tuple(PathId(p) for p in finding.paths) or (PathId.NONE,)
                found.append(Torn(job=job.id, cylinder=cylinder, paths=paths, log_mm=_log_mm(job, cylinder)))
    return tuple(found)


def _log_mm(job: Job, cylinder: int) -> float | None:
    with suppress(RoundError, IndexError):
        read = facts(job, tested(job, cylinder)[-1])
        percent = read.loss_percent or 0.0
        if READ_PERCENT[0] <= percent <= READ_PERCENT[1] and read.restrictor_mm and read.supply_kpa:
            return math.log(leak_mm(percent, read.restrictor_mm, read.supply_kpa))
    return None


def seen(findings: Iterable[Torn], but: str) -> ShopSeen | None:
    """Counts of the findings, those of the job ``but`` left out; ``None`` where fewer than ``LEAST`` are left."""
    counted = [t for t in findings if t.job != but]
    if len(counted) < LEAST:
        return None
    causes = []
    for path in PathId:
        times = sum((path in t.paths) / len(t.paths) for t in counted)
        holes = [t.log_mm for t in counted if t.paths == (path,) and t.log_mm is not None]
        if times:
            mean = sum(holes) / len(holes) if holes else 0.0
            squares = sum((x - mean) ** 2 for x in holes)
            # Rounded once, here: what is stored with a result is what was judged with, to the digit.
            row = {"times": round(times, 3), "mean_log_mm": round(mean, 4), "squares": round(squares, 4)}
            causes.append(CauseSeen(path=path, losses=len(holes), **row))
    return ShopSeen(findings=len(counted), causes=tuple(causes))


class Trial(msgspec.Struct, frozen=True):
    rounds: int
    named: int
    right: int
    log_loss: float
    """Mean of minus the natural log of what the truth was given, shared between two."""


def own_rounds(root: Path) -> Iterator[tuple[str, Round, tuple[PathId, ...]]]:
    """Job, last round before each finding of real engines as it can be judged today, and what the teardown showed."""
    for row in list_jobs(root):
        with suppress(JobError):
            with open_job(root / row.folder, write=False) as opened:
                job = opened.job
            truths = {t.cylinder: t.paths for t in torn_down([job])}
            for cylinder, paths in truths.items():
                for record in tested(job, cylinder)[-1:]:
                    with suppress(RoundError):
                        yield job.id, to_round(job, record.id, root / row.folder), paths


def trial(judged: Sequence[tuple[RoundResult, tuple[PathId, ...]]]) -> Trial:
    named = [(set(r.verdict.paths), set(truth)) for r, truth in judged if r.verdict.kind != "unclear"]
    right = sum(bool(paths) and paths <= truth for paths, truth in named)
    loss = 0.0
    for result, truth in judged:
        given = {p.path: p.probability for p in result.paths}
        # Bounded, so that one verdict that was wholly wrong does not decide over all others.
        loss -= sum(math.log(max(given.get(p, 0.0), LEAST_SHARE)) for p in truth) / len(truth)
    return Trial(len(judged), len(named), right, loss / max(len(judged), 1))


def counting(root: Path) -> Counting | None:
    """What counts in these jobs; ``None`` where nobody let anything count, or the file cannot be read."""
    return stored(root / FILE, Counting, MOST_BYTES)


def let_count(root: Path, findings: Sequence[Torn], by: str) -> Counting:
    """Let these findings count from now on. Raises JobError: fewer than ``LEAST``, or the disk refuses."""
    if len(findings) < LEAST:
        raise JobError(f"{len(findings)} teardowns are recorded; from {LEAST} on they can count for the odds")
    made = Counting(findings=tuple(findings), since=utc_now(), by=by)
    try:
        with whole_file(root / FILE) as file:
            file.write(msgspec.json.encode(made))
    except OSError as e:
        raise JobError(f"{root / FILE}: cannot keep what counts: {e.strerror or e}; nothing changed") from e
    return made


def count_no_more(root: Path) -> None:
    """Judge by the tables alone again; what was judged before stays as it was. Raises JobError: the disk refuses."""
    if not remove_if_possible(root / FILE):
        raise JobError(f"{root / FILE}: cannot be removed; remove it by hand, until then the teardowns count")


def with_teardowns(round_: Round, job: Job, root: Path) -> Round:
    """A round of a job with the shop's teardowns beside it, where they count."""
    now = counting(root)
    # Simulated engines were drawn from our own tables: a shop learns nothing from them, nor they from it.
    return round_ if now is None or job.simulated else replace(round_, shop=seen(now.findings, job.id))
