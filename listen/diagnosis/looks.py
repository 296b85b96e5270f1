"""What plugs, smoke and other symptoms say."""

from __future__ import annotations

from collections import Counter

from listen.diagnosis.case import EngineCase
from listen.diagnosis.finding import Finding
from listen.trade.numbers import limit
from listen.trade.plugs import plug
from listen.trade.symptoms import symptom

NOT_SIDE_VALVE = frozenset({"smoke-blue-first-start"})
"""Signs that a side-valve engine cannot show: oil would have to run uphill."""


def plug_findings(case: EngineCase) -> list[Finding]:
    """Findings of the plugs in order: one like this, or all."""
    looks = {c.cylinder: [plug(p) for p in dict.fromkeys(c.plugs)] for c in case.cylinders if c.plugs}
    counts = Counter(p.id for several in looks.values() for p in several)
    told = {p.id: p for several in looks.values() for p in several if not p.says_nothing}
    whole = {look for look in told if _on_all(case, counts[look], len(looks))}
    found = [
        Finding(p.all, (), f"on {counts[p.id]} of {len(looks)} plugs: {p.words}")
        for p in told.values()
        if p.id in whole
    ]
    for n, several in looks.items():
        own = [p for p in several if p.id in told and (p.id not in whole or p.all == p.one)]
        found += [Finding(p.one, (n,), f"plug of cylinder {n}: {p.words}") for p in own]
    return found


def _on_all(case: EngineCase, alike: int, seen: int) -> bool:
    most = limit("most_share")
    return alike >= 2 and alike >= most * seen and seen >= most * len(case.engine.cylinders)


def symptom_findings(case: EngineCase) -> list[Finding]:
    """Findings of smoke, symptoms, test conditions, and of what was found on a cylinder."""
    told = [symptom(s) for s in case.symptoms]
    broken = [s.words for s in told if s.group == "test"]
    found = [Finding("conditions-broken", (), ", ".join(broken))] if broken else []
    for s in told:
        if s.group == "test" or s.says_nothing or (case.engine.side_valve and s.id in NOT_SIDE_VALVE):
            continue
        found.append(Finding(s.id, (), s.words))
    if case.symptoms_asked and not any(f.id != "conditions-broken" for f in found):
        found.append(Finding("nothing-inside", (), "asked: no smoke, no oil or coolant used, nothing else noticed"))
    for c in case.cylinders:
        found += [Finding(symptom(s).id, (c.cylinder,), f"cylinder {c.cylinder}") for s in c.found]
    return found
