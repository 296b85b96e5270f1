"""What the dry compression of all cylinders says: one low, neighbours low, all low, high, even, climbing or not;
and what oil did to it, beside what the same oil did in a good cylinder."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import median

import msgspec

from listen.diagnosis.case import DRY, LOSS, WET, EngineCase, Finding
from listen.diagnosis.ear import filler_on_all, heard_share
from listen.trade.engine import neighbours
from listen.trade.numbers import altitude_share, expected_dry_kpa, threshold
from listen.voice import figures

FIRST = "compression-dry-first"
"""Reading after the first stroke."""
MIN_FALLING = 4
"""Cylinders needed before readings can be said to fall in the order tested (three fall by chance once in six)."""


class DryTest(msgspec.Struct, frozen=True, kw_only=True):
    """The dry test of an engine, and what its readings are held against; pressures in kPa at the job's altitude."""

    kpa: dict[int, float]
    expected_kpa: float | None
    """By the maker's figure, else by the one computed from the ratio."""
    short_kpa: float
    """Below this a reading is short whatever its mates show: by the figure expected, else by the lowest one known."""
    reference_kpa: float | None
    """The highest reading, or the next where one stands out as too high."""
    share: dict[int, float]
    """Reading as a share of the reference; empty where there is nothing to compare."""
    all_low: bool
    """Even the best cylinder is short; it takes two cylinders, and more than half of them, to say so."""
    all_dead: bool
    """Next to nothing was read on every cylinder, two at least: no wear does that."""
    short: tuple[int, ...]
    """Cylinders short of the figure expected where too few were measured to speak of the whole engine."""
    low: tuple[int, ...]
    """Cylinders low against their mates, or all where the whole engine is low."""

    def detail(self, n: int) -> str:
        words, reference = f"cylinder {n}: {self.kpa[n]:.0f} kPa", self.reference_kpa
        return f"{words}, {figures.share(self.kpa[n] / reference)} of {reference:.0f} kPa" if reference else words

    @property
    def short_of(self) -> str:
        if self.expected_kpa is None:
            return f"the lowest minimum known is {self.short_kpa:.0f} kPa"
        return f"expected {self.expected_kpa:.0f} kPa"


def dry_test(case: EngineCase) -> DryTest:
    """Hold the dry readings of a case against each other and what is expected."""
    kpa = case.read(DRY)
    # Thin air presses less: what is expected is brought to where the engine stands.
    here = altitude_share(case.figures.get("altitude", 0.0))
    # What somebody read off counts before the job's own figures; the maker's figure before one computed from the ratio.
    entered, ratio = case.figures.get("compression-expected"), case.figures.get("compression-ratio")
    at_sea = entered if entered is not None else None if ratio is None else expected_dry_kpa(ratio)
    expected = None if at_sea is None else at_sea * here
    kind = "_diesel" if case.engine.fuel == "diesel" else "_side_valve" if case.engine.side_valve else ""
    least = threshold(f"least_kpa{kind}") * here
    short_kpa = least if expected is None else threshold("expected_short") * expected
    if entered is None and case.engine.side_valve:
        short_kpa = min(short_kpa, least)  # such chambers press less than their ratio says
    reference = _reference(sorted(kpa.values(), reverse=True), expected)
    share = {n: read / reference for n, read in kpa.items()} if reference and len(kpa) > 1 else {}
    of_all, several = len(case.engine.cylinders), len(kpa) >= 2
    all_low = several and len(kpa) > of_all / 2 and reference is not None and reference < short_kpa
    all_dead = several and len(kpa) == of_all and max(kpa.values()) < threshold("dead_share") * least
    return DryTest(
        kpa=kpa,
        expected_kpa=expected,
        short_kpa=short_kpa,
        reference_kpa=reference,
        share=share,
        all_low=all_low,
        all_dead=all_dead,
        # A low engine is one finding, not one for each of its cylinders.
        short=() if all_low else tuple(n for n, read in kpa.items() if read < short_kpa),
        low=tuple(kpa if all_low or all_dead else (n for n, part in share.items() if part < threshold("low_share"))),
    )


def _reference(read: Sequence[float], expected: float | None) -> float | None:
    """Of readings, highest first, the one that the others are compared with."""
    if not read or read[0] <= 0:
        return None
    top, rest, high = read[0], read[1:], threshold("high_share")
    if not rest:
        return top
    if expected is not None:
        # Above both: an engine that reads high all over has no odd one out.
        too_high = top > high * expected and top > high * rest[0]
    else:
        even = len(rest) >= 2 and rest[-1] >= threshold("watch_share") * rest[0]
        # Further above, the others are low rather than this one high.
        too_high = even and high * rest[0] < top <= threshold("high_share_most") * rest[0]
    return rest[0] if too_high else top


def compression_findings(case: EngineCase) -> list[Finding]:
    d = dry_test(case)
    words = f"{min(d.kpa.values(), default=0):.0f} to {max(d.kpa.values(), default=0):.0f} kPa"
    if d.all_dead:
        return [Finding("all-dead", (), words)]
    found = _whole(d, words) or list(_pattern(case, d))
    return [*found, *_each(d), *_even(case, d), *_falling(case, d), *_strokes(case, d)]


def _whole(d: DryTest, words: str) -> list[Finding]:
    """All low, even or not: a low engine, or more than half of its cylinders low."""
    if not d.all_low:
        return [Finding("all-low-uneven", (), words)] if len(d.kpa) >= 4 and len(d.low) > len(d.kpa) / 2 else []
    words, spread = f"{words}, {d.short_of}", 1 - min(d.share.values(), default=1.0)
    if spread <= threshold("even_spread"):
        return [Finding("all-low-even", (), words)]
    # Neither even nor plainly uneven: half a sign.
    return [Finding("all-low-uneven", (), words, 1.0 if spread > threshold("uneven_spread") else 0.5)]


def _pattern(case: EngineCase, d: DryTest) -> Iterator[Finding]:
    """One low, two neighbours low, several low apart."""
    low_neighbours = {n: [m for m in neighbours(case.engine, n) if m in d.low] for n in d.low}
    both_low = [(a, b) for a in d.low for b in low_neighbours[a] if a < b]
    near = threshold("near_equal")
    pairs = [(a, b) for a, b in both_low if abs(d.kpa[a] - d.kpa[b]) <= near * max(d.kpa[a], d.kpa[b])]
    for a, b in pairs:
        yield Finding("neighbours-low", (a,), d.detail(a), partner=b)
        yield Finding("neighbours-low", (b,), d.detail(b), partner=a)
    for n in d.low:
        if not any(n in pair for pair in pairs):
            yield Finding("one-low" if len(d.low) == 1 or low_neighbours[n] else "apart-low", (n,), d.detail(n))


def _each(d: DryTest) -> Iterator[Finding]:
    """Cylinders short though not low, without compression, or high."""
    reference, high = d.reference_kpa, threshold("high_share")
    for n, kpa in d.kpa.items():
        if n in d.short and n not in d.low:  # its mates cannot tell whether it is its alone
            yield Finding("short-of-expected", (n,), f"{d.detail(n)}; {d.short_of}")
        if reference is None or kpa <= threshold("none_share") * reference:
            yield Finding("no-compression", (n,), d.detail(n))
        # A single reading is its own reference.
        above_mates = reference is not None and len(d.kpa) > 1 and kpa > high * reference
        if above_mates or (d.expected_kpa is not None and kpa > high * d.expected_kpa):
            yield Finding("high", (n,), d.detail(n))


def _even(case: EngineCase, d: DryTest) -> Iterator[Finding]:
    least, most = threshold("watch_share"), threshold("high_share")
    good = [n for n, s in d.share.items() if least <= s <= most and n not in d.short and not d.all_low]
    for n in good:
        yield Finding("even", (n,), d.detail(n))
    # Of the whole engine only where every cylinder was read.
    if good and len(good) == len(d.share) == len(case.engine.cylinders):
        known = d.expected_kpa is not None
        words = "all within 10 %" + ("" if known else "; no figure from the maker, so only cylinder against cylinder")
        yield Finding("even", (), words, share=1.0 if known else 0.5)


def _falling(case: EngineCase, d: DryTest) -> Iterator[Finding]:
    row = [d.kpa[n] for n in case.dry_order if n in d.kpa]
    each = all(b < threshold("falls_each") * a for a, b in pairwise(row))
    if len(row) >= MIN_FALLING and each and row[-1] < threshold("falls_total") * row[0]:
        yield Finding("falls-in-order", (), " > ".join(f"{kpa:.0f}" for kpa in row) + " kPa")


def _strokes(case: EngineCase, d: DryTest) -> Iterator[Finding]:
    """First against last stroke of the low cylinders, beside that of the good ones."""
    climbs = {n: d.kpa[n] / first for n, first in case.read(FIRST).items() if first and d.kpa.get(n)}
    good = [ratio for n, ratio in climbs.items() if d.share.get(n, 0) >= threshold("watch_share")]
    for n, ratio in climbs.items():
        if not good or d.share.get(n, 1.0) >= threshold("watch_share"):
            continue
        over_good = ratio / median(good)
        words = f"cylinder {n}: last stroke {ratio:.1f} times the first, the good ones {median(good):.1f}"
        if over_good >= threshold("climb_ratio"):
            yield Finding("climbs", (n,), words)
        elif over_good < threshold("flat_ratio"):
            yield Finding("hardly-climbs", (n,), words)


def wet_findings(case: EngineCase) -> list[Finding]:
    """Large, partial or no rise on every cylinder that is not good; good ones serve as control."""
    dry = dry_test(case)
    read = {n: (dry.kpa[n], wet) for n, wet in case.read(WET).items() if dry.kpa.get(n)}
    # In a low engine none is good enough to be held against.
    good = {} if dry.all_low else {n: kpa for n, kpa in read.items() if dry.share.get(n, 0) >= threshold("watch_share")}
    control = control_of(case, good)
    beside = None if control is None else good[control]
    found = []
    for c in case.cylinders:
        n, kpa = c.cylinder, read.get(c.cylinder)
        if kpa is None or n in good:
            continue
        row = _risen(*kpa, beside)
        if row == "wet-rise" and case.engine.fuel == "diesel":
            row = "partial-wet-rise"  # the oil itself fills a diesel's small chamber
        if row == "no-wet-rise" and case.engine.lies_flat:
            row = "no-wet-rise-lying"
        elif row == "no-wet-rise" and heard_share(c, "rings") and not filler_on_all(case):
            row = "no-wet-rise-heard"
        words = f"cylinder {n}: {kpa[0]:.0f} dry, {kpa[1]:.0f} kPa wet"
        told = f"; control cylinder {control}: {beside[0]:.0f} and {beside[1]:.0f} kPa" if beside else NO_CONTROL
        found.append(Finding(row, (n,), words + told))
    return found


Kpa = tuple[float, float]
"""Dry and wet compression of a cylinder."""
NO_CONTROL = ", no good cylinder served as control"
LEAST_KPA = 1.0
"""No gauge shows less; a rise over nothing has no ratio."""


def control_of(case: EngineCase, good: dict[int, Kpa]) -> int | None:
    """The good cylinder that rose least; one that loses air is none, however even the compression."""
    loss, most = case.read(LOSS), threshold("loss_usable_percent")
    tight = {n: kpa for n, kpa in good.items() if min(kpa) >= LEAST_KPA and loss.get(n, 0.0) <= most}
    return min(tight, key=lambda n: tight[n][1] / tight[n][0], default=None)


def _risen(dry: float, wet: float, control: Kpa | None) -> str:
    """What oil did to a cylinder, over what it did to the control; without one the limits are others."""
    rise_kpa, ratio, alone = wet - dry, wet / dry, "_alone"
    if control is not None:
        alone = ""
        rise_kpa, ratio = rise_kpa - (control[1] - control[0]), ratio / (control[1] / control[0])
    if wet - dry < threshold("no_wet_rise_kpa"):
        return "no-wet-rise"
    if rise_kpa >= threshold("wet_rise_kpa") and ratio > threshold(f"wet_rise_ratio{alone}"):
        return "wet-rise"
    return "no-wet-rise" if ratio < threshold(f"no_wet_rise_ratio{alone}") else "partial-wet-rise"
