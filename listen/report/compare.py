"""Two jobs on one engine side by side: what changed beyond the uncertainty of both."""

from __future__ import annotations

import math

from listen.jobs.engine_case import latest_round
from listen.jobs.job import Job
from listen.judge.result import PointResult
from listen.report import words
from listen.report.content import BeforePart, ChangeRow
from listen.trade.numbers import limit

GAUGE_REPEAT = 0.05
"""Two compression readings closer than this share are the same: gauges and cranking repeat within 5 %."""


def before_part(before: Job, after: Job) -> BeforePart:
    """Every figure that both jobs have, with its change."""
    rows: list[ChangeRow] = []
    for n in after.engine.cylinders:
        rows += _pressure(before, after, n, "compression-dry", "dry compression")
        rows += _pressure(before, after, n, "compression-wet", "wet compression")
        rows += _loss(before, after, n)
        rows += _heard(before, after, n)
    return BeforePart(
        title=before.title,
        changed=words.moment(before.changed),
        job=before.id,
        rows=tuple(rows),
        remark=_remark(before, after),
    )


def _pressure(before: Job, after: Job, n: int, name: str, what: str) -> list[ChangeRow]:
    a, b = before.reading(name, cylinder=n), after.reading(name, cylinder=n)
    if a is None or b is None:
        return []
    higher = max(abs(a.si), abs(b.si))
    beyond = abs(b.si - a.si) > GAUGE_REPEAT * higher
    change = f"{b.si - a.si:+.0f} kPa"
    return [_row(f"Cylinder {n}, {what}", words.reading_in_words(a), words.reading_in_words(b), change, beyond)]


def _loss(before: Job, after: Job, n: int) -> list[ChangeRow]:
    a, b = before.reading("loss", cylinder=n), after.reading("loss", cylinder=n)
    if a is None or b is None:
        return []
    same_rig = _restrictor(before) == _restrictor(after)
    beyond = abs(b.si - a.si) > limit("loss_repeat_points") if same_rig else None
    change = f"{b.si - a.si:+.0f} points"
    return [_row(f"Cylinder {n}, loss", words.reading_in_words(a), words.reading_in_words(b), change, beyond)]


def _heard(before: Job, after: Job, n: int) -> list[ChangeRow]:
    first, second = latest_round(before, n), latest_round(after, n)
    if first is None or second is None or first.verdict is None or second.verdict is None:
        return []
    a, b = first.verdict.result, second.verdict.result
    old = {p.point: p for p in a.points}
    rows = [_point(n, old[p.point], p) for p in b.points if p.point in old]
    was, now = (words.verdict_in_words(r.verdict) for r in (a, b))
    verdict = _row(
        f"Cylinder {n}, verdict", was, now, "same" if a.verdict.paths == b.verdict.paths else "changed", None
    )
    return [verdict, *(row for row in rows if row is not None)]


def _point(n: int, a: PointResult, b: PointResult) -> ChangeRow | None:
    if a.excess_db is None or b.excess_db is None:
        return None
    change = b.excess_db - a.excess_db
    spread = math.hypot(_half(a), _half(b))
    what = f"Cylinder {n}, hiss at the {words.point_in_words(b.point)}"
    return _row(what, _excess(a), _excess(b), words.db(change), abs(change) > spread)


def _half(p: PointResult) -> float:
    """Half the width of the 95 % interval, dB; the detection limit where there is none."""
    if p.excess_ci95_db is None:
        return p.detection_limit_db or math.inf
    return (p.excess_ci95_db[1] - p.excess_ci95_db[0]) / 2


def _excess(p: PointResult) -> str:
    return f"{words.db(p.excess_db)} ({'heard' if p.detected else 'nothing found'})"


def _row(what: str, before: str, after: str, change: str, beyond: bool | None) -> ChangeRow:
    return ChangeRow(what=what, before=before, after=after, change=change, beyond=beyond)


def _restrictor(job: Job) -> float | None:
    found = job.reading("restrictor")
    return found.si if found else None


def _remark(before: Job, after: Job) -> str:
    said = ["Hiss is compared as excess over each day's own quiet clips; another microphone or place changes it too."]
    if before.engine.rows != after.engine.rows:
        said.insert(0, "The two jobs describe different engines: nothing here can be compared safely.")
    if _restrictor(before) != _restrictor(after):
        said.insert(0, "The testers' restrictors differ or were not noted: losses cannot be compared.")
    return " ".join(said)
