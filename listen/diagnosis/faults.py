"""Finds the leading causes: what belongs to one cylinder, what to the whole engine, and where there are two faults."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from listen.diagnosis.weigh import Standing, odds_shares, reweighed
from listen.trade.causes import causes
from listen.trade.evidence import evidence_rows
from listen.trade.numbers import limit

LOOKS = ("plugs", "smoke", "symptoms", "alone")
"""Families that can point to a whole-engine cause beside a cylinder's own fault."""


class Lead(msgspec.Struct, frozen=True):
    """A leading cause with everything it competes with at its place."""

    top: Standing
    cylinders: tuple[int, ...]
    field: tuple[Standing, ...]
    """All causes at its place, highest first, the leading one included."""
    shares: tuple[float, ...]
    """Their probabilities, in the same order."""


def leads(ranked: Sequence[Standing]) -> tuple[Lead, ...]:
    """The leading cause, then further faults that stand on evidence of their own.

    What was told of the whole engine (smoke, lost coolant, a misfire) and is explained by the leading cause counts for
    no further fault: one cause is enough for it.
    """
    first = _lead(ranked[0], ranked)
    found = [first]
    rest = _explained_away(ranked, first)
    for s in rest:
        taken = {n for lead in found for n in lead.cylinders}
        if s.cylinder in taken or any(s.cause == lead.top.cause and not lead.cylinders for lead in found):
            continue
        if _second_fault(s, rest, found):
            found.append(_lead(s, rest))
    return tuple(found)


def _explained_away(ranked: Sequence[Standing], lead: Lead) -> tuple[Standing, ...]:
    """The other cylinders' standings without what the leading cause explains for the whole engine."""
    explained = {line.evidence for line in lead.top.lines if line.db > 0 and not line.own}
    explained = {e for e in explained if evidence_rows()[e].family in LOOKS}
    elsewhere = [
        s if s.cylinder is None or s.cylinder in lead.cylinders else reweighed(s, explained)
        for s in ranked
        if s is not lead.top
    ]
    return tuple(sorted(elsewhere, key=lambda s: (-s.score_db, s.cause, s.cylinder or 0)))


def at_place(cylinder: int | None, ranked: Sequence[Standing]) -> tuple[Standing, ...]:
    """Causes competing at one cylinder (its own and the engine's), or for the whole engine (best place of each)."""
    if cylinder is not None:
        return tuple(s for s in ranked if s.cylinder in (None, cylinder))
    best: dict[str, Standing] = {}
    for s in ranked:
        best.setdefault(s.cause, s)
    return tuple(best.values())


def _lead(top: Standing, ranked: Sequence[Standing]) -> Lead:
    cylinders = _cylinders(top, ranked)
    field = at_place(top.cylinder if cylinders else None, ranked)
    if top not in field:
        field = (top, *(s for s in field if s.cause != top.cause))
    return Lead(top, cylinders, field, odds_shares(field))


def _cylinders(top: Standing, ranked: Sequence[Standing]) -> tuple[int, ...]:
    """Cylinders a cause stands on: those with findings of their own that lead there; empty for the whole engine."""
    if top.cylinder is None or not _has_own(top):
        return ()
    same = {top.cylinder}
    if top.partner is not None:
        same.add(top.partner)
    for s in ranked:
        alike = s.cause == top.cause and s.cylinder is not None and _has_own(s)
        if alike and s.own_db >= limit("strong_db") and at_place(s.cylinder, ranked)[0].cause == top.cause:
            same.add(s.cylinder or 0)
    return tuple(sorted(same))


def _has_own(s: Standing) -> bool:
    return any(line.own and line.db > 0 for line in s.lines)


def _second_fault(s: Standing, ranked: Sequence[Standing], found: Sequence[Lead]) -> bool:
    if s.cylinder is None:
        return _wide_beside(s, found)
    here = [o for o in ranked if o.cylinder == s.cylinder]
    return here[0] is s and s.own_db >= limit("strong_db")


def _wide_beside(s: Standing, found: Sequence[Lead]) -> bool:
    """A whole-engine cause that plugs, smoke and symptoms point to, beside a fault of one cylinder."""
    if any(not lead.cylinders for lead in found):
        return False
    looks = sum(line.db for line in s.lines if evidence_rows()[line.evidence].family in LOOKS)
    elsewhere = all(_distinct(s, lead) for lead in found)
    return causes()[s.cause].scope == "engine" and looks >= limit("symptom_fault_db") and elsewhere


def _distinct(s: Standing, lead: Lead) -> bool:
    """True where the leading cause does not explain these looks better itself."""
    mine = {line.evidence for line in s.lines if line.db > 0 and evidence_rows()[line.evidence].family in LOOKS}
    theirs = {line.evidence: line.db for line in lead.top.lines}
    return any(theirs.get(e, 0.0) <= 0 for e in mine)
