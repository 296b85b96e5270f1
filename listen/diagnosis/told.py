"""What was told and seen beside the cylinders' readings: facts, figures, plugs, outcomes of checks, what follows;
and how the diagnosis says it: places, how sure, a fault, the engine."""

from collections import Counter
from collections.abc import Iterable, Sequence

from listen.diagnosis.case import EngineCase, Finding
from listen.diagnosis.model import MADE, Candidate, Fault, Kind, TestState
from listen.trade.causes import Cause
from listen.trade.checks import evidence_rows, known_check
from listen.trade.facts import engine_findings, facts, plug
from listen.trade.numbers import threshold

NOT_SIDE_VALVE = frozenset({"smoke-blue-first-start"})
"""Signs that a side-valve engine cannot show: oil would have to run uphill."""
SIGNS = ("smoke", "oil", "running", "cooling")
"""Groups whose facts are signs of something inside the cylinders."""
BROKEN = "conditions-broken"
NO = "no-"
"""Before a fact: the row of what its "no" on a cylinder says, where the table has one."""


def fact_findings(case: EngineCase) -> list[Finding]:
    """Findings of facts and figures of the engine, and of facts found on a cylinder."""
    told = [facts()[s] for s in case.symptoms]
    found = [Finding(id, (), facts()[id].words) for id in engine_findings(case.engine)]
    # A fact of how the test was made doubts the test, whatever it says itself: all such share one row.
    weighs = (f for f in told if not f.says_nothing and not (case.engine.side_valve and f.id in NOT_SIDE_VALVE))
    found += [Finding(BROKEN if f.group == "test" else f.id, (), f.words) for f in weighs]
    for f, value in ((facts()[id], value) for id, value in case.figures.items() if id in facts()):
        words = f"{f.words}: {value:g} {'kPa' if f.unit == 'pressure' else f.unit}"
        found += [Finding(band.finding, (), words) for band in f.bands if band.holds(value)]
    if case.symptoms_asked and not any(f.group in SIGNS and not f.says_nothing for f in told):
        found.append(Finding("nothing-inside", (), "asked: no smoke, no oil or coolant used, nothing else noticed"))
    for c in case.cylinders:
        found += [Finding(id, (c.cylinder,), f"cylinder {c.cylinder}") for id in c.found]
        found += [Finding(f"{NO}{id}", (c.cylinder,), f"cylinder {c.cylinder}") for id in c.absent]
    # What every cylinder shows is the engine's as well.
    on_all = set.intersection(*(set(c.found) for c in case.cylinders)) if len(case.cylinders) > 1 else set()
    if len(case.cylinders) == len(case.engine.cylinders):
        found += [Finding(id, (), "on every cylinder") for id in sorted(on_all)]
    return found


def check_findings(case: EngineCase) -> list[Finding]:
    found = []
    for made in case.made:
        check = known_check(made.check)
        outcome = check.outcome(made.outcome) if check else None
        if check is None or outcome is None or outcome.row(check.id) not in evidence_rows():
            continue
        # A check of the engine may be noted at a cylinder: its row says where it counts.
        on = (made.cylinder,) if made.cylinder is not None and check.at == "cylinder" else ()
        found.append(Finding(outcome.row(check.id), on, f"{check.words}: {outcome.words}"))
    return found


def with_what_follows(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings with those that need several of them to stand, and without those that others silence."""
    found = list(found)
    for row in evidence_rows().values():
        if row.when or row.when_any:
            found += _follows(row.id, row.when, row.when_any, found)
    return tuple(f for f in found if not _silenced(f, found))


def _follows(id: str, needed: Sequence[str], any_of: Sequence[str], found: Sequence[Finding]) -> list[Finding]:
    def at(n: int | None) -> list[Finding]:
        here = [f for f in found if not f.cylinders or n in f.cylinders]
        ids = {f.id for f in here}
        if not ids.issuperset(needed) or (any_of and ids.isdisjoint(any_of)):
            return []
        details = dict.fromkeys(f.detail for f in here if f.id in needed or f.id in any_of)
        return [Finding(id, () if n is None else (n,), "; ".join(details))]

    on = sorted({n for f in found if f.id in needed or f.id in any_of for n in f.cylinders})
    # What follows of the whole engine is not said again of each cylinder.
    return at(None) or [finding for n in on for finding in at(n)]


def _silenced(f: Finding, found: Sequence[Finding]) -> bool:
    """True where a finding beside which it says nothing is of a cylinder in common; of the whole engine each is."""
    row = evidence_rows().get(f.id)
    beside = [o for o in found if row is not None and o.id in row.unless]
    return any(not o.cylinders or not f.cylinders or bool(set(o.cylinders) & set(f.cylinders)) for o in beside)


def plug_findings(case: EngineCase) -> list[Finding]:
    """Findings of the plugs in order: one like this, most, or all.

    A look that most plugs share speaks of those that share it, never of the odd one out.
    """
    looks = {c.cylinder: [plug(p) for p in dict.fromkeys(c.plugs)] for c in case.cylinders if c.plugs}
    counts = Counter(p.id for several in looks.values() for p in several)
    told = {p.id: p for several in looks.values() for p in several if not p.says_nothing}
    # A look is the engine's where most plugs were seen, and most of those share it.
    most, seen = threshold("most_share"), len(looks)
    enough = seen >= most * len(case.engine.cylinders)
    whole = [look for look in told if enough and counts[look] >= max(2, most * seen)]
    found = []
    for look in whole:
        on = tuple(n for n, several in looks.items() if any(p.id == look for p in several))
        words = f"on {counts[look]} of {len(looks)} plugs: {told[look].words}"
        found.append(Finding(told[look].all, () if len(on) == len(looks) else on, words))
    for n, several in looks.items():
        own = [p for p in several if p.id in told and (p.id not in whole or p.all == p.one)]
        found += [Finding(p.one, (n,), f"plug of cylinder {n}: {p.words}") for p in own]
    return found


SURE = ((0.95, "very likely"), (0.8, "likely"), (0.5, "more likely than not"), (0.3, "possible"))


def sure(probability: float) -> str:
    return next((words for floor, words in SURE if probability >= floor), "one of several")


def place(cause: Cause, cylinders: tuple[int, ...]) -> str:
    if cylinders and cause.id == "gasket-next" and len(cylinders) == 2:
        return f"between cylinders {cylinders[0]} and {cylinders[1]}"
    if cylinders:
        *others, last = map(str, cylinders)
        return f"cylinders {', '.join(others)} and {last}" if others else f"cylinder {last}"
    if cause.id == "test-fault":
        return "the test as a whole"
    return "the whole engine" if cause.scope == "engine" else "cylinder not known"


def fault(
    cause: Cause, words: str, where: str, probability: float, rivals: Sequence[Candidate], tests: Sequence[TestState]
) -> str:
    """What may be said of one fault; of none, what was not asked or tested."""
    if cause.id == "nothing-found":
        text = f"Nothing found in what was tested, {sure(probability)}."
        if open_tests := [t.words if not t.made else f"{t.words} ({t.note})" for t in tests if t.note != MADE]:
            text += f" Not asked or not tested: {', '.join(open_tests)}."
    else:
        text = f"{where[0].upper()}{where[1:]}: {words}, {sure(probability)} on what was entered."
    if rivals:
        *first, last = [c.words for c in rivals]
        text += f" It cannot be told from {', '.join(first)}{' or ' if first else ''}{last} yet."
    return f"{text} {cause.not_meant}"


def summary(kind: Kind, faults: Sequence[Fault]) -> str:
    if kind == "nothing-entered":
        return (
            "Nothing has been entered yet that the tables can weigh. A compression counts once there is something to "
            "hold it against: another cylinder, the maker's figure or the ratio."
        )
    if kind == "open":
        named = ", ".join([faults[0].words, *(r.words for r in faults[0].rivals[:2])])
        return f"Cannot tell yet; first in line: {named}. Next: {faults[0].next_check.do}"
    text = " ".join(f.text for f in faults)
    if kind == "several-faults":
        text = f"{len(faults)} faults stand side by side. {text}"
    if any(f.repeat_first for f in faults):
        text += " The test itself is nearly as likely: repeat it first."
    elif any(r.cause == "test-fault" for f in faults for r in f.rivals):
        text += " The test itself is not excluded."
    return f"{text} Next: {faults[0].next_check.do}"
