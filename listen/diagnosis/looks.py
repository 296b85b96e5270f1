"""What the plugs say as they came out."""

from collections import Counter

from listen.diagnosis.case import EngineCase
from listen.diagnosis.finding import Finding
from listen.trade.numbers import limit
from listen.trade.plugs import plug


def plug_findings(case: EngineCase) -> list[Finding]:
    """Findings of the plugs in order: one like this, most, or all.

    A look that most plugs share speaks of those that share it, never of the odd one out.
    """
    looks = {c.cylinder: [plug(p) for p in dict.fromkeys(c.plugs)] for c in case.cylinders if c.plugs}
    counts = Counter(p.id for several in looks.values() for p in several)
    told = {p.id: p for several in looks.values() for p in several if not p.says_nothing}
    whole = {look for look in told if _on_most(case, counts[look], len(looks))}
    found = []
    for look in whole:
        on = tuple(n for n, several in looks.items() if any(p.id == look for p in several))
        words = f"on {counts[look]} of {len(looks)} plugs: {told[look].words}"
        found.append(Finding(told[look].all, () if len(on) == len(looks) else on, words))
    for n, several in looks.items():
        own = [p for p in several if p.id in told and (p.id not in whole or p.all == p.one)]
        found += [Finding(p.one, (n,), f"plug of cylinder {n}: {p.words}") for p in own]
    return found


def _on_most(case: EngineCase, alike: int, seen: int) -> bool:
    most = limit("most_share")
    return alike >= 2 and alike >= most * seen and seen >= most * len(case.engine.cylinders)
