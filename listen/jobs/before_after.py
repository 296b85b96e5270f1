"""Two jobs on one engine side by side: what changed beyond the uncertainty of both."""

from math import hypot

import msgspec
from msgspec.structs import replace

from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import latest_round, standing
from listen.judge.result import PointResult
from listen.trade.units import in_unit, unit_named
from listen.voice import names

LOSS_POINTS = 3.5
"""95 % uncertainty of one loss reading: repeats of a well set test agree within 5 points (5 / root 2)."""
COMPRESSION_SHARE = 0.05
"""95 % uncertainty of one compression reading, as a share: battery, weather and gauge (rule of thumb, 5 %)."""
PLACEMENT_DB = 3.0
"""Of one level, from holding a microphone 7 instead of 10 or 14 cm away: 20 lg of root 2."""
SET_UP_SHARE = 0.05
"""Supplies or bores further apart than this share are other ones: set by hand, or drilled in another unit (0.040 in is
1.016 mm), to a few percent."""
PRESSURES = ("compression-dry", "compression-wet")


class Change(msgspec.Struct, frozen=True, kw_only=True):
    what: str
    """``loss``, ``compression-dry``, ``compression-wet``, ``hiss-level`` or ``excess``."""
    point: str = ""
    before: float | None
    after: float | None
    unit: str
    uncertainty: float | None = None
    """95 %, of the difference: both uncertainties together; None where the two cannot be compared."""
    open: bool = False
    """True where a bound among the two leaves open whether anything changed."""
    remark: str = ""
    """Why it cannot be compared, or what stands against it."""

    @property
    def difference(self) -> float | None:
        """After minus before; None where one is missing or the two cannot be compared."""
        if self.before is None or self.after is None or self.uncertainty is None:
            return None
        return self.after - self.before

    @property
    def beyond(self) -> bool:
        return not self.open and abs(self.difference or 0.0) > (self.uncertainty or 0.0)


class CylinderChange(msgspec.Struct, frozen=True, kw_only=True):
    cylinder: int
    changes: tuple[Change, ...]
    verdict_before: str = ""
    verdict_after: str = ""
    """Texts of the verdicts, with what a person decided otherwise; empty where there is none."""
    kind_before: str = ""
    kind_after: str = ""

    @property
    def changed(self) -> tuple[Change, ...]:
        return tuple(c for c in self.changes if c.beyond)


class Comparison(msgspec.Struct, frozen=True, kw_only=True):
    cylinders: tuple[CylinderChange, ...]
    remarks: tuple[str, ...]


def compare(before: Job, after: Job) -> Comparison:
    numbers = sorted({*before.engine.cylinders, *after.engine.cylinders})
    rows = tuple(row for n in numbers if (row := _cylinder(before, after, n)) is not None)
    return Comparison(cylinders=rows, remarks=tuple(_remarks(before, after)))


def _remarks(before: Job, after: Job) -> list[str]:
    remarks = []
    if before.id == after.id:
        remarks.append("Both are the same job.")
    if before.engine.rows != after.engine.rows:
        remarks.append("The two engines have other cylinders; these may be two engines.")
    for reading, words in (("restrictor", "restrictor"), ("supply", "supply pressure")):
        a, b = before.reading(reading), after.reading(reading)
        if a and b and _apart(a.si, b.si):
            remarks.append(f"The {words} was {a.value:g} {a.unit} before and {b.value:g} {b.unit} after.")
    return remarks


def _apart(a: float, b: float) -> bool:
    return abs(a - b) > SET_UP_SHARE * max(a, b)


def _cylinder(before: Job, after: Job, n: int) -> CylinderChange | None:
    a, b = latest_round(before, n), latest_round(after, n)
    readings = (_reading(before, after, n, name) for name in ("loss", *PRESSURES))
    found = (*(c for c in readings if c is not None), *_points(a, b))
    if not found and a is None and b is None:
        return None
    (was, kind_was), (is_, kind_is) = _verdict(a), _verdict(b)
    verdicts = {"verdict_before": was, "verdict_after": is_, "kind_before": kind_was, "kind_after": kind_is}
    return CylinderChange(cylinder=n, changes=found, **verdicts)


def _verdict(record: RoundRecord | None) -> tuple[str, str]:
    if record is None or record.verdict is None:
        return "", ""
    verdict, stands = record.verdict.result.verdict, standing(record)
    decided = f" {stands.name} overruled it: {names.paths(stands.paths)}." if stands.how == "overruled" else ""
    return f"{verdict.text}{decided}", verdict.kind


def _reading(before: Job, after: Job, n: int, reading: str) -> Change | None:
    a, b = before.reading(reading, n), after.reading(reading, n)
    if a is None and b is None:
        return None
    if reading == "loss":
        loss = Change(what="loss", before=a.si if a else None, after=b.si if b else None, unit="percent")
        bores = [r.si for job in (before, after) if (r := job.reading("restrictor"))]
        # A bore that nobody noted speaks against nothing.
        if len(bores) == 2 and _apart(*bores):
            return replace(loss, remark="another restrictor: percents cannot be compared")
        return replace(loss, uncertainty=hypot(LOSS_POINTS, LOSS_POINTS))
    # Two jobs may be read in two units: told in that of the later.
    unit = unit_named(after.pressure_unit)
    was, now = (in_unit(r.si, unit).value if r else None for r in (a, b))
    spread = hypot(COMPRESSION_SHARE * (was or 0.0), COMPRESSION_SHARE * (now or 0.0))
    return Change(what=reading, before=was, after=now, unit=unit, uncertainty=spread)


def _points(a: RoundRecord | None, b: RoundRecord | None) -> list[Change]:
    first = {p.point: p for p in a.verdict.result.points} if a and a.verdict else {}
    second = {p.point: p for p in b.verdict.result.points} if b and b.verdict else {}
    same_input = _inputs(a) == _inputs(b)
    return [_point(p, first.get(p), second.get(p), same_input) for p in {**first, **second}]


def _inputs(record: RoundRecord | None) -> set[tuple[str, int]]:
    return {(c.kept.device, c.kept.rate_hz) for c in record.live_clips()} if record else set()


BOUNDS = {
    (True, True): "not heard either time: both are upper bounds",
    (False, True): "not heard any more: at most this loud",
    (True, False): "not heard before: was at most this loud",
}
"""What there is to say where the level before or the one after is an upper bound."""


def _point(point: str, a: PointResult | None, b: PointResult | None, same_input: bool) -> Change:
    """Levels where the same microphone stood before both; else excess, which also moves with the shop's noise."""
    was, now = (p.excess_db if p else None for p in (a, b))
    excess = Change(what="excess", point=point, before=was, after=now, unit="dB")
    if a is None or b is None:
        return excess
    halves = [(ci[1] - ci[0]) / 2 for ci in (a.excess_ci95_db, b.excess_ci95_db) if ci]
    # Placement twice: the microphone was held by hand both times.
    spread = hypot(*halves, PLACEMENT_DB, PLACEMENT_DB)
    if not same_input or a.level_db is None or b.level_db is None or a.level_unit != b.level_unit:
        remark = "the shop's noise and the microphone go into an excess: compare with care"
        return replace(excess, uncertainty=spread, remark=remark)
    bounds = a.level_is_upper_bound, b.level_is_upper_bound
    # An upper bound speaks one way only: "at most so loud" can be quieter than before, never louder.
    may_be = {(False, True): b.level_db < a.level_db, (True, False): b.level_db > a.level_db, (True, True): False}
    return Change(
        what="hiss-level",
        point=point,
        before=a.level_db,
        after=b.level_db,
        unit=a.level_unit,
        uncertainty=spread,
        open=not may_be.get(bounds, True),
        remark=BOUNDS.get(bounds, ""),
    )
