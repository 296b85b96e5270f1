"""What the dry compression of all cylinders says: one low, neighbours low, all low, high, even, climbing or not."""

from itertools import pairwise
from statistics import median

from listen.diagnosis.case import CylinderCase, EngineCase, Finding
from listen.trade.layout import neighbours
from listen.trade.numbers import altitude_share, expected_dry_kpa, limit
from listen.voice import figures

MIN_FALLING = 4
"""Cylinders needed before readings can be said to fall in the order tested (three fall by chance once in six)."""


def dry_readings(case: EngineCase) -> dict[int, float]:
    """Dry compression by cylinder, kPa."""
    return {c.cylinder: c.dry_kpa for c in case.cylinders if c.dry_kpa is not None}


def expected_here(case: EngineCase) -> float | None:
    """Expected dry compression at the job's altitude, kPa: the maker's figure, else the one computed from the ratio."""
    entered = case.figures.get("compression-expected", case.expected_kpa)
    if entered is not None:
        return entered * _altitude_share(case)
    ratio = case.figures.get("compression-ratio")
    return None if ratio is None else expected_dry_kpa(ratio) * _altitude_share(case)


def _altitude_share(case: EngineCase) -> float:
    return altitude_share(case.figures.get("altitude", case.altitude_m))


def least_here(case: EngineCase) -> float:
    """The lowest minimum known for such an engine at the job's altitude, kPa."""
    kind = "_diesel" if case.engine.fuel == "diesel" else "_side_valve" if case.engine.side_valve else ""
    return limit(f"least_kpa{kind}") * _altitude_share(case)


def reference_kpa(case: EngineCase) -> float | None:
    """What a cylinder is compared with: the highest reading, or the next where one stands out as too high."""
    dry = sorted(dry_readings(case).values(), reverse=True)
    if not dry or dry[0] <= 0:
        return None
    return dry[1] if len(dry) > 1 and _too_high(case, dry[0], dry[1:]) else dry[0]


def _too_high(case: EngineCase, top: float, rest: list[float]) -> bool:
    """True where one reading is high rather than the rest low."""
    expected = expected_here(case)
    if expected is not None:
        return top > limit("high_share") * expected and top > limit("high_share") * rest[0]
    even = len(rest) >= 2 and rest[-1] >= limit("watch_share") * rest[0]
    return even and limit("high_share") * rest[0] < top <= limit("high_share_most") * rest[0]


def shares(case: EngineCase) -> dict[int, float]:
    """Dry compression of each cylinder as a share of the reference; empty where there is nothing to compare."""
    reference = reference_kpa(case)
    dry = dry_readings(case)
    return {n: kpa / reference for n, kpa in dry.items()} if reference and len(dry) > 1 else {}


def short_kpa(case: EngineCase) -> float:
    """Below this a reading is short whatever its mates show: by the figure expected, else by the lowest one known."""
    expected = expected_here(case)
    if expected is None:
        return least_here(case)
    short = limit("expected_short") * expected
    computed = "compression-expected" not in case.figures and case.expected_kpa is None
    return min(short, least_here(case)) if computed and case.engine.side_valve else short


def all_low(case: EngineCase) -> bool:
    """True where even the best cylinder is short; it takes two cylinders, and more than half of them, to say so."""
    reference, measured = reference_kpa(case), len(dry_readings(case))
    many = measured >= 2 and measured > len(case.engine.cylinders) / 2
    return many and reference is not None and reference < short_kpa(case)


def all_dead(case: EngineCase) -> bool:
    """True where next to nothing was read on every cylinder, two at least: no wear does that."""
    dry = dry_readings(case)
    return len(dry) >= 2 and len(dry) == len(case.engine.cylinders) and max(dry.values()) < _dead_kpa(case)


def _dead_kpa(case: EngineCase) -> float:
    return limit("dead_share") * least_here(case)


def short_cylinders(case: EngineCase) -> tuple[int, ...]:
    """Cylinders short of the figure expected where too few were measured to speak of the whole engine."""
    return () if all_low(case) else tuple(n for n, kpa in dry_readings(case).items() if kpa < short_kpa(case))


def low_cylinders(case: EngineCase) -> tuple[int, ...]:
    """Cylinders low against their mates, or all where the whole engine is low."""
    if all_low(case) or all_dead(case):
        return tuple(dry_readings(case))
    return tuple(n for n, share in shares(case).items() if share < limit("low_share"))


def compression_findings(case: EngineCase) -> list[Finding]:
    """Findings of the dry test."""
    if all_dead(case):
        dry = dry_readings(case)
        return [Finding("all-dead", (), f"{min(dry.values()):.0f} to {max(dry.values()):.0f} kPa")]
    found = _whole(case) or _pattern(case)
    return [*found, *_short(case), *_dead(case), *_high(case), *_even(case), *_falling(case), *_strokes(case)]


def _detail(case: EngineCase, n: int) -> str:
    kpa, reference = dry_readings(case)[n], reference_kpa(case)
    return f"cylinder {n}: {kpa:.0f} kPa" + (
        f", {figures.share(kpa / reference)} of {reference:.0f} kPa" if reference else ""
    )


def _whole(case: EngineCase) -> list[Finding]:
    """All low, even or not: a low engine, or more than half of its cylinders low."""
    dry, share = dry_readings(case), shares(case)
    low = low_cylinders(case)
    spread = 1 - min(share.values(), default=1.0)
    words = f"{min(dry.values(), default=0):.0f} to {max(dry.values(), default=0):.0f} kPa"
    if all_low(case):
        words += f", {_short_words(case)}"
        if spread <= limit("even_spread"):
            return [Finding("all-low-even", (), words)]
        part = 1.0 if spread > limit("uneven_spread") else 0.5
        return [Finding("all-low-uneven", (), words, part)]
    if len(dry) >= 4 and len(low) > len(dry) / 2:
        return [Finding("all-low-uneven", (), words)]
    return []


def _short_words(case: EngineCase) -> str:
    expected = expected_here(case)
    if expected is None:
        return f"the lowest minimum known is {short_kpa(case):.0f} kPa"
    return f"expected {expected:.0f} kPa"


def _short(case: EngineCase) -> list[Finding]:
    """Short cylinders whose mates cannot tell whether it is theirs alone."""
    low = low_cylinders(case)
    words = _short_words(case)
    return [
        Finding("short-of-expected", (n,), f"{_detail(case, n)}; {words}")
        for n in short_cylinders(case)
        if n not in low
    ]


def _pattern(case: EngineCase) -> list[Finding]:
    """One low, two neighbours low, several low apart."""
    low = low_cylinders(case)
    pairs = [(a, b) for a in low for b in neighbours(case.engine, a) if b in low and a < b and _near(case, a, b)]
    paired = {n for pair in pairs for n in pair}
    found = [
        Finding("neighbours-low", (n,), _detail(case, n), partner=m) for a, b in pairs for n, m in ((a, b), (b, a))
    ]
    for n in low:
        if n in paired:
            continue
        beside = any(m in low for m in neighbours(case.engine, n))
        found.append(Finding("one-low" if len(low) == 1 or beside else "apart-low", (n,), _detail(case, n)))
    return found


def _near(case: EngineCase, a: int, b: int) -> bool:
    dry = dry_readings(case)
    return abs(dry[a] - dry[b]) <= limit("near_equal") * max(dry[a], dry[b])


def _dead(case: EngineCase) -> list[Finding]:
    reference = reference_kpa(case)
    if reference is None:
        return [
            Finding("no-compression", (n,), f"cylinder {n}: {kpa:.0f} kPa") for n, kpa in dry_readings(case).items()
        ]
    floor = limit("none_share") * reference
    return [Finding("no-compression", (n,), _detail(case, n)) for n, kpa in dry_readings(case).items() if kpa <= floor]


def _high(case: EngineCase) -> list[Finding]:
    dry, expected, reference = dry_readings(case), expected_here(case), reference_kpa(case)
    above = [] if expected is None else [n for n, kpa in dry.items() if kpa > limit("high_share") * expected]
    if reference is not None and len(dry) > 1:
        above += [n for n, kpa in dry.items() if kpa > limit("high_share") * reference and n not in above]
    return [Finding("high", (n,), _detail(case, n)) for n in above]


def _even(case: EngineCase) -> list[Finding]:
    short = short_cylinders(case)
    if all_low(case):
        return []
    share = shares(case)
    good = [n for n, s in share.items() if limit("watch_share") <= s <= limit("high_share") and n not in short]
    found = [Finding("even", (n,), _detail(case, n)) for n in good]
    if good and len(good) == len(share) == len(case.engine.cylinders):
        known = expected_here(case) is not None
        words = "all within 10 %" + ("" if known else "; no figure from the maker, so only cylinder against cylinder")
        found.append(Finding("even", (), words, share=1.0 if known else 0.5))
    return found


def _falling(case: EngineCase) -> list[Finding]:
    dry = dry_readings(case)
    row = [dry[n] for n in case.dry_order if n in dry]
    each = all(b < limit("falls_each") * a for a, b in pairwise(row))
    if len(row) < MIN_FALLING or not each or row[-1] >= limit("falls_total") * row[0]:
        return []
    return [Finding("falls-in-order", (), " > ".join(f"{kpa:.0f}" for kpa in row) + " kPa")]


def _climb(c: CylinderCase) -> float | None:
    return c.dry_kpa / c.dry_first_kpa if c.dry_kpa and c.dry_first_kpa else None


def _strokes(case: EngineCase) -> list[Finding]:
    """First against last stroke of the low cylinders, beside that of the good ones."""
    share = shares(case)
    climbs = {c.cylinder: r for c in case.cylinders if (r := _climb(c)) is not None}
    good = [r for n, r in climbs.items() if share.get(n, 0) >= limit("watch_share")]
    found = []
    for n, ratio in climbs.items():
        if not good or share.get(n, 1.0) >= limit("watch_share"):
            continue
        beside = ratio / median(good)
        words = f"cylinder {n}: last stroke {ratio:.1f} times the first, the good ones {median(good):.1f}"
        if beside >= limit("climb_ratio"):
            found.append(Finding("climbs", (n,), words))
        elif beside < limit("flat_ratio"):
            found.append(Finding("hardly-climbs", (n,), words))
    return found
