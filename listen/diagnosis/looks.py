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
    looks = {c.cylinder: plug(c.plug) for c in case.cylinders if c.plug}
    counts = Counter(p.id for p in looks.values())
    whole = {look for look, alike in counts.items() if _on_all(case, alike, len(looks))}
    told = {p.id: p for p in looks.values() if not p.says_nothing}
    found = [
        Finding(look.all, (), f"on {counts[look.id]} of {len(looks)} plugs: {look.words}")
        for look in told.values()
        if look.id in whole
    ]
    for n, look in looks.items():
        own_row = look.id not in whole or look.all == look.one
        if look.id in told and own_row:
            found.append(Finding(look.one, (n,), f"plug of cylinder {n}: {look.words}"))
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
    for c in case.cylinders:
        found += [Finding(symptom(s).id, (c.cylinder,), f"cylinder {c.cylinder}") for s in c.found]
    return found
