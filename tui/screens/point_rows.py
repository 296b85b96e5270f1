"""From the job to the ladder's rows, one a point: what became of each clip, and what each point says."""

from dataclasses import replace

from listen.jobs.job import ClipRecord, RoundRecord
from listen.jobs.ways import SWITCHED
from listen.judge.result import PointResult
from listen.trade.points import Point
from tui.widgets.ladder import Mark, PointRow, Standing

WALKS = ("quiet", "air", "closing")


def point_rows(
    points: tuple[Point, ...], record: RoundRecord, live: dict[tuple[str, str], Mark], excess: dict[str, float | None]
) -> tuple[PointRow, ...]:
    """Rows of a round: ``live`` marks override, ``excess`` is what the clip check found before there is a verdict."""
    results = {r.point: r for r in record.verdict.result.points} if record.verdict and not record.stale else {}
    return tuple(_point_row(p, record, live, results.get(p.id), excess.get(p.id)) for p in points)


def _point_row(
    p: Point, record: RoundRecord, live: dict[tuple[str, str], Mark], result: PointResult | None, excess: float | None
) -> PointRow:
    marks = tuple(live.get((p.id, w)) or _mark(p.id, w, record) for w in WALKS)
    row = PointRow(p.id, p.words, marks)
    if (skip := record.skip(p.id, "air") or record.skip(p.id, "quiet")) is not None:
        return replace(row, standing=Standing.SKIPPED, note=skip.reason)
    if result is not None:
        return judged(row, result)
    # Before the verdict there is the check of the clip alone; after it that number would be a second one.
    if excess is not None and (record.live_clips(p.id, "air") or record.live_clips(p.id, SWITCHED)):
        return replace(row, standing=Standing.SO_FAR, excess_db=excess)
    if again := _refused(p.id, record):
        return replace(row, standing=Standing.AGAIN, note=again)
    return row


def _mark(point: str, walk: str, record: RoundRecord) -> Mark:
    if record.live_clips(point, walk) or record.live_clips(point, SWITCHED):
        return Mark.KEPT
    if record.skip(point, walk) or walk in record.steps_left_out:
        return Mark.SKIPPED
    return Mark.AGAIN if any(c.kept.point == point and c.kept.walk == walk for c in record.clips) else Mark.DUE


def _refused(point: str, record: RoundRecord) -> str:
    """Reason of the last clip of a point that was taken back and not yet taken again."""
    for walk in WALKS:
        clips: list[ClipRecord] = [c for c in record.clips if c.kept.point == point and c.kept.walk == walk]
        if clips and all(c.taken_back for c in clips):
            return clips[-1].reason
    return ""


def judged(row: PointRow, result: PointResult) -> PointRow:
    low, high = result.excess_ci95_db or (None, None)
    rejected = next((f for f in result.flags if f.reject), None)
    if result.excess_db is None:
        standing, note = Standing.UNKNOWN, rejected.text if rejected else "see the evidence"
    elif rejected is not None:
        standing, note = Standing.DOUBTFUL, rejected.flag.replace("-", " ")
    elif result.detected:
        standing, note = Standing.HEARD, ""
    else:
        standing, note = Standing.NOTHING, ""
    return replace(
        row,
        standing=standing,
        note=note,
        excess_db=result.excess_db,
        low_db=low,
        high_db=high,
        limit_db=result.would_see_db,
        drift_db=result.drift_db,
    )


def neighbour_point(points: tuple[str, ...], here: str, by: int) -> str:
    """The point above or below on the ladder."""
    at = points.index(here) if here in points else 0 if by > 0 else len(points)
    return points[min(max(at + by, 0), len(points) - 1)]
