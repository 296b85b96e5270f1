"""The shop's own hit rate: what ear and tool had said before the teardown, against what the teardown showed."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from itertools import pairwise
from math import sqrt
from typing import Literal

import msgspec

from listen.jobs.job import Job, RoundRecord

By = Literal["tool", "tech", "supervisor"]

EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0)
"""Edges of the classes of stated sureness; finer where the decisions are."""
Z95 = 1.959964
"""Normal quantile of a 95 % interval."""


class Said(msgspec.Struct, frozen=True, kw_only=True):
    """One call on a cylinder whose teardown is known."""

    job: str
    title: str
    cylinder: int
    round_id: str
    by: By
    name: str
    """Who called; version of the program for the tool."""
    paths: tuple[str, ...]
    sure: float | None
    """Probability stated, 0 to 1; None where none was."""
    truth: tuple[str, ...]
    right: bool
    """Every path named was really at work."""
    simulated: bool


class Class(msgspec.Struct, frozen=True, kw_only=True):
    """One row of the calibration table."""

    low: float
    high: float
    """Stated sureness from ``low`` up to, not including, ``high`` (the last includes 1)."""
    calls: int
    said_mean: float
    """Mean of what was stated."""
    right: int
    ci95: tuple[float, float]
    """Wilson interval (1927) of the share that was right."""

    @property
    def share(self) -> float:
        """Share that was right."""
        return self.right / self.calls


class HitRate(msgspec.Struct, frozen=True, kw_only=True):
    """How often one source of calls was right."""

    by: By
    calls: int
    right: int
    ci95: tuple[float, float] | None
    brier: float | None
    """Mean square of stated probability minus right or wrong (Brier 1950); 0 is best; None where none was stated."""
    classes: tuple[Class, ...]

    @property
    def share(self) -> float:
        """Share that was right."""
        return self.right / self.calls


OF_THE_TEST = ("set-up", "fitting")
"""Verdicts about how the test was made: a teardown cannot answer them, nor calls on what was heard in such a round."""


def calls(jobs: Iterable[Job]) -> tuple[Said, ...]:
    """Every call made before the teardown on a cylinder with a finding.

    Open verdicts and declined calls are none; rounds whose test was to be mended (not at top dead centre, a leaking
    fitting) are left out whole: what the teardown showed was not what was heard there.
    """
    return tuple(
        said
        for job in jobs
        for cylinder, finding in sorted(job.findings.items())
        for record in job.before_finding.get(cylinder, ())
        if not _of_the_test(record)
        for said in _of_round(job, record, finding.paths)
    )


def _of_the_test(record: RoundRecord) -> bool:
    return record.verdict is not None and record.verdict.result.verdict.kind in OF_THE_TEST


def _of_round(job: Job, record: RoundRecord, truth: tuple[str, ...]) -> Iterable[Said]:
    def said(by: By, name: str, paths: tuple[str, ...], sure: float | None) -> Said:
        return Said(
            job=job.id,
            title=job.title,
            cylinder=record.cylinder,
            round_id=record.id,
            by=by,
            name=name,
            paths=paths,
            sure=sure,
            truth=truth,
            right=bool(paths) and set(paths) <= set(truth),
            simulated=job.simulated,
        )

    if record.verdict is not None and not record.stale and record.verdict.result.verdict.kind != "unclear":
        verdict = record.verdict.result.verdict
        yield said("tool", record.verdict.version, verdict.paths or ("none",), verdict.probability)
    roles: tuple[tuple[str, By], ...] = (("tech", "tech"), ("supervisor", "supervisor"))
    for role, by in roles:
        call = record.call(role)
        if call is not None and not call.declined and call.before_numbers and call.paths:
            yield said(by, call.name or job.people.get(role, ""), call.paths, call.sure)


def hit_rates(said: Iterable[Said]) -> tuple[HitRate, ...]:
    """One hit rate for each source that called at all: the tool, techs' ears, supervisors' ears."""
    everything = tuple(said)
    order: tuple[By, ...] = ("tool", "tech", "supervisor")
    return tuple(_rate(by, own) for by in order if (own := tuple(s for s in everything if s.by == by)))


def _rate(by: By, said: tuple[Said, ...]) -> HitRate:
    stated = [(s.sure, s.right) for s in said if s.sure is not None]
    right = sum(s.right for s in said)
    return HitRate(
        by=by,
        calls=len(said),
        right=right,
        ci95=wilson(right, len(said)),
        brier=sum((sure - hit) ** 2 for sure, hit in stated) / len(stated) if stated else None,
        classes=tuple(c for low, high in pairwise(EDGES) if (c := _class(low, high, stated))),
    )


def _class(low: float, high: float, stated: list[tuple[float, bool]]) -> Class | None:
    inside = [(sure, hit) for sure, hit in stated if low <= sure < high or sure == high == 1.0]
    if not inside:
        return None
    right = sum(hit for _, hit in inside)
    mean = sum(sure for sure, _ in inside) / len(inside)
    return Class(low=low, high=high, calls=len(inside), said_mean=mean, right=right, ci95=wilson(right, len(inside)))


def wilson(right: int, n: int) -> tuple[float, float]:
    """95 % interval of a share; holds for few calls and for shares of 0 and 1."""
    p, z2 = right / n, Z95**2
    middle = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z95 * sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return max(0.0, middle - half), min(1.0, middle + half)


HEADER = ("job", "title", "cylinder", "round", "by", "name", "said", "sure", "truth", "right", "simulated")


def csv_text(said: Iterable[Said]) -> str:
    """Every call as a row of CSV (RFC 4180); a name that a spreadsheet would take for a formula is quoted with '."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADER)
    for s in said:
        sure = "" if s.sure is None else f"{s.sure:.3f}"
        row = (s.job, s.title, s.cylinder, s.round_id, s.by, s.name, " ".join(s.paths), sure)
        writer.writerow([_tame(v) for v in (*row, " ".join(s.truth), int(s.right), int(s.simulated))])
    return out.getvalue()


def _tame(value: object) -> str:
    text = str(value)
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text
