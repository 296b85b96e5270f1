"""Before and after, and the shop's own hit rate, as rows for a reader."""

from __future__ import annotations

from collections.abc import Iterable

from listen.jobs.before_after import Change, compare
from listen.jobs.hit_rate import HitRate, calls, hit_rates
from listen.jobs.job import Job
from listen.report import words
from listen.report.content import BeforePart, ChangeRow

WHAT = {
    "loss": "loss",
    "compression-dry": "dry compression",
    "compression-wet": "wet compression",
    "hiss-level": "hiss level",
    "excess": "excess",
}
BY = {"tool": "the program", "tech": "the tech's ear", "supervisor": "the supervisor's ear"}
HEADING = ("Said by", "Sureness stated", "Calls", "Right", "Share right", "95 % interval")


def before_part(before: Job, after: Job) -> BeforePart:
    """Every figure that both jobs have, with its change."""
    found = compare(before, after)
    rows: list[ChangeRow] = []
    for c in found.cylinders:
        if c.verdict_before or c.verdict_after:
            rows.append(_verdict(c.cylinder, c.verdict_before, c.verdict_after, c.kind_before == c.kind_after))
        rows += [_row(before, after, c.cylinder, change) for change in c.changes]
    return BeforePart(
        title=before.title,
        changed=words.moment(before.changed),
        job=before.id,
        rows=tuple(rows),
        remark=" ".join(found.remarks),
    )


def _verdict(n: int, before: str, after: str, same: bool) -> ChangeRow:
    change = "same kind" if same else "another kind"
    return ChangeRow(
        what=f"Cylinder {n}, verdict",
        before=before or words.NOTHING,
        after=after or words.NOTHING,
        change=change,
        beyond=None,
    )


def _row(before: Job, after: Job, n: int, c: Change) -> ChangeRow:
    where = f" at the {words.point_in_words(c.point)}" if c.point else ""
    unit = "%" if c.unit == "percent" else c.unit
    change = words.NOTHING
    if c.difference is not None:
        digits = 0 if unit == "kPa" else 1
        change = f"{words.signed(c.difference, unit, digits)} \N{PLUS-MINUS SIGN} {c.uncertainty or 0:.{digits}f}"
    return ChangeRow(
        what=f"Cylinder {n}, {WHAT.get(c.what, c.what)}{where}",
        before=_figure(before, n, c, c.before),
        after=_figure(after, n, c, c.after),
        change=change + (f" ({c.remark})" if c.remark else ""),
        beyond=None if c.difference is None else c.beyond,
    )


def _figure(job: Job, n: int, c: Change, value: float | None) -> str:
    """A level by its figure, a reading as it was entered."""
    if c.what in ("hiss-level", "excess"):
        return words.signed(value, c.unit)
    return words.reading_in_words(job.reading(c.what, n))


def hit_rate_rows(jobs: Iterable[Job]) -> tuple[tuple[str, ...], ...]:
    """The shop's own record over its teardowns: heading first; empty where there is no teardown yet."""
    rates = hit_rates(calls(jobs))
    rows = [row for rate in rates for row in _rate(rate)]
    return (HEADING, *rows) if rows else ()


def _rate(rate: HitRate) -> list[tuple[str, ...]]:
    total = (
        BY[rate.by],
        "all",
        str(rate.calls),
        str(rate.right),
        _percent(rate.share),
        _interval(rate.ci95),
    )
    classes = [
        (BY[rate.by], _percent(c.said_mean), str(c.calls), str(c.right), _percent(c.share), _interval(c.ci95))
        for c in rate.classes
    ]
    return [total, *classes]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _interval(ci95: tuple[float, float] | None) -> str:
    return words.NOTHING if ci95 is None else f"{_percent(ci95[0])} to {_percent(ci95[1])}"
