"""Before and after, and the shop's own hit rate, as rows for a reader."""

from collections.abc import Iterable

import msgspec

from listen.jobs.before_after import Change, CylinderChange, compare
from listen.jobs.hit_rate import HitRate, calls, hit_rates
from listen.jobs.job import Job
from listen.report.content import reading_in_words
from listen.voice import figures, names, times

HEADING = ("Said by", "Sureness stated", "Calls", "Right", "Share right", "95 % interval")


class ChangeRow(msgspec.Struct, frozen=True, kw_only=True):
    what: str
    before: str
    after: str
    change: str
    beyond: bool | None
    """True where it changed beyond the uncertainty of both; None where that cannot be said."""


class BeforePart(msgspec.Struct, frozen=True, kw_only=True):
    """Another job on the same engine, side by side."""

    title: str
    changed: str
    job: str
    rows: tuple[ChangeRow, ...]
    remark: str


def before_part(before: Job, after: Job) -> BeforePart:
    """What was before and after; cylinders on which something changed stand first, those measured once last."""
    found = compare(before, after)
    rows: list[ChangeRow] = []
    for c in sorted(found.cylinders, key=lambda c: (not c.changed, all(x.difference is None for x in c.changes))):
        if c.verdict_before or c.verdict_after:
            rows.append(_verdict(c))
        rows += [_row(before, after, c.cylinder, change) for change in c.changes]
    return BeforePart(
        title=before.title,
        changed=times.moment_and_zone(before.changed),
        job=before.id,
        rows=tuple(rows),
        remark=" ".join(found.remarks),
    )


def _verdict(c: CylinderChange) -> ChangeRow:
    change = "same kind" if c.kind_before == c.kind_after else "another kind"
    change = change if c.kind_before and c.kind_after else figures.UNKNOWN
    before, after = c.verdict_before or figures.UNKNOWN, c.verdict_after or figures.UNKNOWN
    return ChangeRow(what=f"Cylinder {c.cylinder}, verdict", before=before, after=after, change=change, beyond=None)


def _row(before: Job, after: Job, n: int, c: Change) -> ChangeRow:
    where = f" at the {names.point_name(c.point)}" if c.point else ""
    change = figures.UNKNOWN
    if c.difference is not None:
        digits = 0 if c.unit in ("kPa", "psi") else 1
        moved = figures.in_unit(c.difference, c.unit, digits, sign=True)
        change = f"{moved} \N{PLUS-MINUS SIGN} {c.uncertainty or 0:.{digits}f}"
    return ChangeRow(
        what=f"Cylinder {n}, {names.figure_name(c.what)}{where}",
        before=_figure(before, n, c, c.before),
        after=_figure(after, n, c, c.after),
        change=change + (f" ({c.remark})" if c.remark else ""),
        beyond=None if c.difference is None else c.beyond,
    )


def _figure(job: Job, n: int, c: Change, value: float | None) -> str:
    """A level by its figure, a reading as it was entered."""
    if c.what in ("hiss-level", "excess"):
        return figures.in_unit(value, c.unit, sign=True)
    return reading_in_words(job.reading(c.what, n))


def hit_rate_rows(jobs: Iterable[Job]) -> tuple[tuple[str, ...], ...]:
    """The shop's own record over its teardowns: heading first; empty where there is no teardown yet."""
    rates = hit_rates(calls(jobs))
    rows = [row for rate in rates for row in _rate(rate)]
    return (HEADING, *rows) if rows else ()


def _rate(found: HitRate) -> list[tuple[str, ...]]:
    rows = [("all", found.rate), *((figures.share(c.mean_sure), c.rate) for c in found.classes)]
    by, told, within = names.BY[found.by], figures.share, figures.share_interval
    return [(by, sure, str(r.of), str(r.hits), told(r.value), within((r.low95, r.high95))) for sure, r in rows]
