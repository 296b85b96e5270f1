"""Detection and cover in words and columns."""

from collections.abc import Sequence

from listen.bench.accuracy.bars import COVERAGE_BAR, DEPTH_BAR_DB, FALSE_ALARM_FACTOR
from listen.bench.accuracy.cover import Cover
from listen.bench.accuracy.detection import Depth, Detection
from listen.bench.accuracy.table import bounded
from listen.rate import Rate, exact_rate


def alarm_line(name: str, rate: Rate, stated: float) -> str:
    """False alarms of one kind of sound, beside what is stated."""
    value = rate.value or 0.0
    low, high = stated / FALSE_ALARM_FACTOR, stated * FALSE_ALARM_FACTOR
    word = "met" if low <= value <= high else "MISSED"
    if word == "MISSED" and rate.low95 <= high and rate.high95 >= low:
        word = "MISSED, but the bounds reach the bar"
    return (
        f"  {name:<36}{1e3 * value:6.2f} in 1000 [{1e3 * rate.low95:.2f}-{1e3 * rate.high95:.2f}]"
        f"  ({rate.hits} of {rate.of})  {word}\n"
    )


def _depth(d: Depth) -> str:
    if d.reached_db is None:
        return f"  {d.background:<12} limit {d.limit_db:6.2f} dB, reached: outside the levels tried  MISSED\n"
    loss = d.reached_db - d.limit_db
    word = "met" if loss <= DEPTH_BAR_DB else "MISSED"
    reached = f"reached {d.reached_db:6.2f} dB, loss {loss:5.2f} dB"
    return f"  {d.background:<12} limit {d.limit_db:6.2f} dB, {reached}  {word}\n"


def detection_table(d: Detection) -> str:
    """All of detection."""
    out = [
        "detection in steady Gaussian noise, one quiet and one air clip of 4 s at 48 kHz, hiss of the noise's shape\n"
        f"hiss over background found 90 % of the time at a false alarm of {d.stated_false_alarm:g}; "
        f"bar: within {DEPTH_BAR_DB:.1f} dB of the limit\n"
    ]
    out += map(_depth, d.depths)
    out.append(
        f"\nfalse alarms, stated {1e3 * d.stated_false_alarm:g} in 1000; bar: within a factor {FALSE_ALARM_FACTOR:g}\n"
        f"(pairs drawn from {d.clips} independent clips a background; the bounds take the pairs as independent)\n"
    )
    out += [alarm_line(f"steady, {x.background}", x.false_alarm, d.stated_false_alarm) for x in d.depths]
    out += [alarm_line(f"drift, {name}", rate, d.stated_false_alarm) for name, rate in d.drifting.items()]
    return "".join(out)


def cover_table(rows: Sequence[Cover]) -> str:
    """Cover by shop, then by group with the bar."""
    out = ["cover of the 95 % intervals of excess, % [95 %]\n"]
    out.append(f"{'':<36}{'silent':>20}{'with hiss':>20}{'half width dB':>15}\n")
    out += [f"  {c.shop:<34}{bounded(c.silent):>20}{bounded(c.hissing):>20}{c.half_width_db:>15.2f}\n" for c in rows]
    low, high = COVERAGE_BAR
    for group in dict.fromkeys(c.group for c in rows):
        rates = [c.both for c in rows if c.group == group]
        total = exact_rate(sum(r.hits for r in rates), sum(r.of for r in rates))
        word = "met" if low <= (total.value or 0.0) <= high else "MISSED"
        out.append(f"  all {group:<30}{bounded(total):>20}   bar {100 * low:.0f}-{100 * high:.0f} %  {word}\n")
    return "".join(out)
