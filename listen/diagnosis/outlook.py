"""What does not go together in the findings, and one word for how each cylinder stands."""

from collections.abc import Sequence

from listen.diagnosis.case import CylinderCase, EngineCase, Finding
from listen.diagnosis.compression import dry_test
from listen.diagnosis.leakage import losses
from listen.diagnosis.model import CylinderStanding, Doubt, Fault, StandingWord
from listen.trade.contradictions import contradictions
from listen.trade.numbers import threshold

FAULT_FROM = 0.5
"""A cylinder counts as faulty from this probability, as suspect below."""


def contradictions_found(findings: Sequence[Finding]) -> tuple[Doubt, ...]:
    """Contradictions on each cylinder, and on the engine."""
    found = []
    places: list[int | None] = [None, *sorted({n for f in findings for n in f.cylinders})]
    here = {n: {f.id for f in findings if (not f.cylinders if n is None else n in f.cylinders)} for n in places}
    for row in contradictions():
        on = [n for n in places if here[n].issuperset(row.needs) and here[n].isdisjoint(row.unless)]
        numbers = tuple(n for n in on if n is not None)
        if None in on:
            found.append(Doubt(row.id, (), row.words, row.then))
        elif numbers:
            found.append(Doubt(row.id, numbers, row.words, row.then))
    return tuple(found)


def cylinder_standing(case: EngineCase, n: int, faults: Sequence[Fault]) -> CylinderStanding:
    """One word for a cylinder: a fault is a fault as soon as its figures are bad, even while its cause is open."""
    c = next((c for c in case.cylinders if c.cylinder == n), None)
    dry = dry_test(case)
    share, loss = dry.share.get(n), losses(case).get(n)
    low = n in dry.low or n in dry.short
    bad = low or (loss is not None and loss > threshold("loss_high_percent"))
    for f in faults:
        if n in f.cylinders:
            word: StandingWord = "fault" if bad or f.probability >= FAULT_FROM else "suspect"
            return CylinderStanding(n, "test again" if f.cause == "test-fault" else word, f.cause, f.words)
    if c is None or (c.dry_kpa is None and loss is None and not c.paths):
        return CylinderStanding(n, "not tested")
    if bad:
        return CylinderStanding(n, "suspect")
    short = share is not None and share < threshold("watch_share")
    lossy = loss is not None and loss > threshold("loss_usable_percent")
    if short or lossy:
        return CylinderStanding(n, "watch")
    return CylinderStanding(n, "sound" if _compared(case, c) else "cannot tell")


def _compared(case: EngineCase, c: CylinderCase) -> bool:
    """True where a reading can be held against something, or a silent cylinder was listened to."""
    dry = c.dry_kpa is not None and (c.cylinder in dry_test(case).share or case.expected_kpa is not None)
    return dry or c.loss_percent is not None or c.paths.get("none", 0.0) >= threshold("path_likely")
