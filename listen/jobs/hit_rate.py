"""The shop's own hit rate: what ear and tool had said before the teardown, against what the teardown showed."""

import csv
import io
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from functools import partial
from typing import Literal, get_args

import msgspec

from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import standing
from listen.rate import Bin, Rate, calibration, counted
from listen.voice.text import cell

By = Literal["tool", "tech", "supervisor"]
EARS: tuple[By, ...] = ("tech", "supervisor")

EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0)
"""Edges of the classes of stated sureness; finer where the decisions are."""


class ScoredCall(msgspec.Struct, frozen=True, kw_only=True):
    job: Job
    record: RoundRecord
    by: By
    name: str
    """Who called; version of the program for the tool."""
    paths: tuple[str, ...]
    sure: float | None
    """Probability stated, 0 to 1; None where none was."""
    truth: tuple[str, ...]

    @property
    def right(self) -> bool:
        """Every path named was really at work."""
        # Not the other way: a leak that nobody named may be there as well.
        return bool(self.paths) and set(self.paths) <= set(self.truth)


class HitRate(msgspec.Struct, frozen=True, kw_only=True):
    by: By
    rate: Rate
    classes: tuple[Bin, ...]


class Decided(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    agreed: int = 0
    agreed_right: int = 0
    overruled: int = 0
    person_right: int = 0
    """Of those overruled: the person was right and the program was not."""
    program_right: int = 0
    """Of those overruled: the program was right and the person was not."""


OF_THE_TEST = ("set-up", "fitting")
"""Verdicts about how the test was made: a teardown cannot answer them, nor calls on what was heard in such a round."""


def calls(jobs: Iterable[Job]) -> tuple[ScoredCall, ...]:
    """Every call made before the teardown on a cylinder with a finding.

    Open verdicts and declined calls are none; rounds whose test was to be mended (not at top dead centre, a leaking
    fitting) are left out whole: what the teardown showed was not what was heard there.
    """
    return tuple(call for job, record, truth in _answered(jobs) for call in _of_round(job, record, truth))


def tested(job: Job, cylinder: int) -> list[RoundRecord]:
    """A cylinder's rounds as they stood before its teardown, but those whose test was to be mended first."""
    before = job.before_finding.get(cylinder, ())
    return [r for r in before if r.verdict is None or r.verdict.result.verdict.kind not in OF_THE_TEST]


def _answered(jobs: Iterable[Job]) -> Iterator[tuple[Job, RoundRecord, tuple[str, ...]]]:
    """Rounds that a teardown has answered, with the truth."""
    for job in jobs:
        for cylinder, finding in sorted(job.findings.items()):
            yield from ((job, record, finding.paths) for record in tested(job, cylinder))


def decided(jobs: Iterable[Job]) -> tuple[Decided, ...]:
    """The score of decisions made before the teardown, a row a person, by name; an overruled open verdict was wrong."""
    rows = defaultdict[str, Counter[str]](Counter)
    for _, record, truth in _answered(jobs):
        stands = standing(record)
        if stands.by == "person" and stands.program_then is not None:
            person = _right(stands.kind, stands.paths, truth)
            program = _right(stands.program_then.kind, stands.program_then.paths, truth)
            made = rows[" ".join(stands.name.split())]
            if stands.how == "agreed":
                made.update(agreed=1, agreed_right=int(person))
            else:
                alone = person - program  # whole numbers: a Counter keeps a first bool as it is, and that is shown
                made.update(overruled=1, person_right=int(alone > 0), program_right=int(alone < 0))
    return tuple(Decided(name=name, **made) for name, made in sorted(rows.items()))


def _right(kind: str, paths: tuple[str, ...], truth: tuple[str, ...]) -> bool:
    """Whether every path named was really at work; nothing named is right only as sound, where nothing was."""
    named = paths or (("none",) if kind == "sound" else ())
    return bool(named) and set(named) <= set(truth)


def _of_round(job: Job, record: RoundRecord, truth: tuple[str, ...]) -> Iterable[ScoredCall]:
    scored = partial(ScoredCall, job=job, record=record, truth=truth)
    if record.verdict is not None and not record.stale and record.verdict.result.verdict.kind != "unclear":
        verdict = record.verdict.result.verdict
        paths, version = verdict.paths or ("none",), record.verdict.version
        yield scored(by="tool", name=version, paths=paths, sure=verdict.probability)
    for by in EARS:
        call = record.call(by)
        # An ear that was shown the numbers is none.
        if call is not None and not call.declined and call.before_numbers and call.paths:
            yield scored(by=by, name=call.name or job.people.get(by, ""), paths=call.paths, sure=call.sure)


def hit_rates(scored: Iterable[ScoredCall]) -> tuple[HitRate, ...]:
    """One hit rate for each source that called at all: the tool, techs' ears, supervisors' ears."""
    everything, rates = tuple(scored), []
    for by in get_args(By):
        own = [s for s in everything if s.by == by]
        stated = [(s.sure, s.right) for s in own if s.sure is not None]
        rate = counted(own, lambda s: s.right)
        if own:
            rates.append(HitRate(by=by, rate=rate, classes=calibration(stated, EDGES)))
    return tuple(rates)


HEADER = ("job", "title", "cylinder", "round", "by", "name", "said", "sure", "truth", "right", "simulated")


def csv_text(scored: Iterable[ScoredCall]) -> str:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADER)
    for s in scored:
        sure = "" if s.sure is None else f"{s.sure:.3f}"
        row = (s.job.id, s.job.title, s.record.cylinder, s.record.id, s.by, s.name, " ".join(s.paths), sure)
        writer.writerow([cell(v) for v in (*row, " ".join(s.truth), int(s.right), int(s.job.simulated))])
    return out.getvalue()
