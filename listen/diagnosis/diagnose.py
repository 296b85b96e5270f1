"""The diagnosis over the whole engine: from findings to leading causes, contradictions, next checks and limits."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from listen.diagnosis import wording
from listen.diagnosis.case import EngineCase
from listen.diagnosis.compression import compression_findings
from listen.diagnosis.ear import ear_findings
from listen.diagnosis.faults import Lead, at_place, leads
from listen.diagnosis.finding import Finding
from listen.diagnosis.leakage import leakage_findings
from listen.diagnosis.looks import plug_findings, symptom_findings
from listen.diagnosis.model import Candidate, Diagnosis, Doubt, Fault, Kind
from listen.diagnosis.outlook import cylinder_standing, doubts
from listen.diagnosis.tested import have, tests_of, was_made
from listen.diagnosis.weigh import Standing, odds_shares, standings
from listen.diagnosis.wet import wet_findings
from listen.trade.causes import causes
from listen.trade.checks import Check, check_alone, check_named, checks_between
from listen.trade.doubts import blind_spots
from listen.trade.doubts import contradictions as doubt_rows
from listen.trade.evidence import evidence_rows
from listen.trade.numbers import limit

OPEN_BELOW = 0.3
"""A leading cause less probable than this is not named as leading."""
OPEN_RIVALS = 3
"""Nor is one with so many rivals that is not more likely than not."""
CLEAR_FROM = 0.8
"""From this probability a cause leads clearly: what would confirm it comes next."""


def diagnose(case: EngineCase) -> Diagnosis:
    """Weigh everything known about an engine.

    Parameters
    ----------
    case
        Readings, paths heard, plugs, symptoms; anything may be missing.

    Returns
    -------
    Diagnosis
        Same input, same output; "cannot tell" is ``kind="open"``.
    """
    findings = findings_of(case)
    ranked = standings(case, findings)
    field = at_place(None, ranked)
    candidates = tuple(_candidate(s, p) for s, p in zip(field, odds_shares(field), strict=True))
    here = frozenset(f.id for f in findings)
    weighing = any(f.id in evidence_rows() for f in findings)
    faults = tuple(_fault(lead, case, here) for lead in leads(ranked)) if weighing else ()
    kind = _kind(faults)
    contradictions = doubts(findings)
    if kind == "open":
        faults = _doubt_first(faults, contradictions)
    return Diagnosis(
        kind=kind,
        text=wording.summary(kind, faults, candidates),
        faults=faults,
        candidates=candidates,
        stop_for=_stop_for(kind, faults, field, findings),
        contradictions=contradictions,
        cylinders=tuple(cylinder_standing(case, n, faults) for n in case.engine.cylinders),
        tests=tests_of(case),
    )


def findings_of(case: EngineCase) -> tuple[Finding, ...]:
    """Everything the tables have a row for."""
    found = (
        *compression_findings(case),
        *wet_findings(case),
        *leakage_findings(case),
        *ear_findings(case),
        *plug_findings(case),
        *symptom_findings(case),
    )
    wet = case.engine.cooling != "air"
    return tuple(f for f in found if wet or (row := evidence_rows().get(f.id)) is None or not row.coolant)


def _doubt_first(faults: tuple[Fault, ...], contradictions: Sequence[Doubt]) -> tuple[Fault, ...]:
    """Where nothing leads and something contradicts itself, that is cleared up next."""
    wanted = [row.check for row in doubt_rows() if row.check and row.id in {d.id for d in contradictions}]
    if not wanted or not faults:
        return faults
    return (msgspec.structs.replace(faults[0], next_check=check_named(wanted[0])), *faults[1:])


def _stop_for(
    kind: Kind, faults: Sequence[Fault], field: Sequence[Standing], findings: Sequence[Finding]
) -> tuple[str, ...]:
    """Causes that a finding which forbids driving speaks for, and such causes in the lead that evidence speaks for."""
    spoken_for = {s.cause for s in field if any(line.db > 0 for line in s.lines)}
    named = {s.cause for s in field[:3]} if kind == "open" else set()
    named |= {f.cause for f in faults} | {r.cause for f in faults for r in f.rivals}
    warned = {c for f in findings if (row := evidence_rows().get(f.id)) is not None and row.stop for c in row.for_db}
    warned |= {c for c in named & spoken_for if causes()[c].stop}
    return tuple(dict.fromkeys(s.cause for s in field if s.cause in warned))


def _candidate(s: Standing, probability: float) -> Candidate:
    return Candidate(s.cause, causes()[s.cause].words, round(s.score_db, 1), round(probability, 4))


def _fault(lead: Lead, case: EngineCase, found: frozenset[str]) -> Fault:
    top, cause = lead.top, causes()[lead.top.cause]
    others = [_candidate(s, p) for s, p in zip(lead.field, lead.shares, strict=True) if s is not top]
    others.sort(key=lambda c: -c.score_db)
    spoken_for = {s.cause for s in lead.field if any(line.db > 0 for line in s.lines)}
    rivals = tuple(c for c in others if c.cause in spoken_for and top.score_db - c.score_db <= limit("rivals_db"))
    probability = lead.shares[lead.field.index(top)]
    again = _repeat_first(lead, rivals)
    place = wording.place(cause, lead.cylinders)
    return Fault(
        cause=cause.id,
        words=cause.words,
        cylinders=lead.cylinders,
        place=place,
        probability=round(probability, 4),
        score_db=round(top.score_db, 1),
        sure=wording.sure(probability),
        rivals=rivals,
        runner_up=others[0] if others else None,
        prior_db=round(cause.prior_db, 1),
        supports=tuple(sorted((x for x in top.lines if x.db > 0), key=lambda x: -x.db)),
        against=tuple(sorted((x for x in top.lines if x.db < 0), key=lambda x: x.db)),
        capped_db=top.capped_db,
        next_check=next_check(lead, case, found, again),
        repeat_first=again,
        not_meant=cause.not_meant,
        owner=cause.owner,
        not_tested=_untested(case, cause.tests, lead.cylinders),
        text=wording.fault(cause, place, probability, rivals),
    )


def _repeat_first(lead: Lead, rivals: Sequence[Candidate]) -> bool:
    """True where the test itself is the nearest rival and nearly as likely."""
    near = rivals[:1]
    return bool(near) and near[0].cause == "test-fault" and lead.top.score_db - near[0].score_db <= limit("repeat_db")


def next_check(lead: Lead, case: EngineCase, found: frozenset[str], again: bool) -> Check:
    """Cheapest check that separates a cause from its runner-up; what confirms it alone where it leads clearly.

    Where valve timing is in sight after work on it, the marks come first: cranking could bend valves. Where the test
    is to be repeated first (``again``), that is the check. A runner-up is a cause that some evidence speaks for. The
    test itself counts as one only where it is a rival: a repeat is cheap, but not always the question.
    """
    cause, done = lead.top.cause, have(case, lead.cylinders)
    runners_up = _runners_up(lead)
    in_sight = {cause, *(s.cause for s in runners_up)}
    if "timing-disturbed" in found and "timing" in in_sight:
        return check_named("timing-marks")
    if again and (fit := checks_between(cause, "test-fault", done, found)):
        return fit[0]
    for other in runners_up:
        if fit := checks_between(cause, other.cause, done, found):
            return fit[0]
    return check_alone(cause, whole=not lead.cylinders, have=done, found=found)


def _runners_up(lead: Lead) -> list[Standing]:
    """Causes worth telling apart from the leading one, nearest first."""
    top = lead.top
    others = [s for s in lead.field if s is not top and any(line.db > 0 for line in s.lines)]
    near = [s for s in others if top.score_db - s.score_db <= limit("rivals_db")]
    if top.cause == "test-fault" or lead.shares[lead.field.index(top)] >= CLEAR_FROM:
        return near
    further = [s for s in others if s not in near and top.score_db - s.score_db <= limit("strong_db")]
    return [*near, *(s for s in further if s.cause != "test-fault")]


def _untested(case: EngineCase, tests: tuple[str, ...], cylinders: tuple[int, ...]) -> tuple[str, ...]:
    words = {"cooling": "the cooling system", "crankcase": "crankcase pressure"}
    return tuple(
        blind_spots()[t].words if t in blind_spots() else words[t] for t in tests if not was_made(case, t, cylinders)
    )


def _kind(faults: Sequence[Fault]) -> Kind:
    if not faults:
        return "nothing-entered"
    first = faults[0]
    crowded = first.probability < 0.5 and len(first.rivals) >= OPEN_RIVALS
    if first.probability < OPEN_BELOW or crowded:
        return "open"
    if len(faults) > 1:
        return "several-faults"
    if first.cause == "test-fault":
        return "repeat-test"
    if first.rivals:
        return "two-causes"
    return "nothing-found" if first.cause == "nothing-found" else "one-cause"
