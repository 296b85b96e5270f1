"""The diagnosis over the whole engine: from findings to leading causes, contradictions, next checks and limits;
and one word for how each cylinder stands."""

from collections.abc import Sequence

import msgspec

from listen.diagnosis import told
from listen.diagnosis.case import LOSS, EngineCase, Finding
from listen.diagnosis.compression import compression_findings, dry_test, wet_findings
from listen.diagnosis.ear import ear_findings
from listen.diagnosis.faults import NEAR, NOTHING, Lead, at_place, folded_shares, leads, spoken
from listen.diagnosis.leakage import behind_one_restrictor, leakage_findings
from listen.diagnosis.model import Candidate, Contradiction, CylinderStanding, Diagnosis, Fault, Kind, TestState
from listen.diagnosis.next import done_on, looked_all_over, next_checks, repeat_first, stop_signs, tests_of, was_made
from listen.diagnosis.told import check_findings, fact_findings, plug_findings, with_what_follows
from listen.diagnosis.weigh import Standing, standings
from listen.trade.causes import blind_spots, causes
from listen.trade.causes import contradictions as contradiction_rows
from listen.trade.checks import check_named, evidence_rows
from listen.trade.numbers import threshold
from listen.trade.tables import shop_rows, shop_trouble

OPEN_BELOW = 0.3
"""A leading cause less probable than this is not said to be the case..."""
OPEN_RIVALS = 3
"""...nor one with so many rivals that is not more likely than not."""
UNLISTED = {"cooling": "the cooling system", "crankcase": "crankcase pressure"}
"""Tests that are in no list of what was made and what each is blind to."""


def diagnose(case: EngineCase) -> Diagnosis:
    """Weigh everything known about an engine: readings, paths heard, plugs, facts, checks made; any may be missing.

    Same input, same output; "cannot tell" is ``kind="open"``.
    """
    # Here for the standings, below for who asks for findings alone; carried over once, losses stay as they are.
    case = behind_one_restrictor(case)
    findings = findings_of(case)
    signs = stop_signs(findings, case.made)
    # Beside a sign that forbids starting, that nothing was found is no answer.
    ranked = tuple(s for s in standings(case, findings) if not signs or s.cause != NOTHING)
    # Of each cause its best place: the row of causes is of the engine.
    field = at_place(None, ranked)
    candidates = _candidates(case, field, folded_shares(field))
    here = frozenset(f.id for f in findings)
    tests = tests_of(case)
    faults = tuple(_fault(lead, case, here, tests) for lead in leads(ranked, findings))
    kind = _kind(faults)
    contradictions = contradictions_found(findings)
    # What cannot be told of the first fault cannot be told of others beside it.
    if kind == "open":
        faults = faults[:1]
    if kind in ("open", "nothing-found"):
        faults = _doubt_first(case, faults, {c.id for c in contradictions})
    return Diagnosis(
        kind=kind,
        text=told.summary(kind, faults),
        faults=faults,
        candidates=candidates,
        stop_for=_stop_for(kind, faults, field, signs),
        stop_why=tuple(evidence_rows()[s].words for s in signs),
        contradictions=contradictions,
        cylinders=tuple(cylinder_standing(case, n, faults) for n in case.engine.cylinders),
        tests=tests,
        shop_rows=shop_rows(),
        shop_trouble=shop_trouble(),
    )


def findings_of(case: EngineCase) -> tuple[Finding, ...]:
    """Everything the tables have a row for, and what follows from several of them together."""
    case = behind_one_restrictor(case)
    found = (
        *compression_findings(case),
        *wet_findings(case),
        *leakage_findings(case),
        *ear_findings(case),
        *plug_findings(case),
        *fact_findings(case),
        *check_findings(case),
    )
    # On an engine cooled by air nothing can speak of its coolant.
    wet = case.engine.cooling != "air"
    kept = (f for f in found if wet or (row := evidence_rows().get(f.id)) is None or not row.coolant)
    return with_what_follows(kept)


def _doubt_first(case: EngineCase, faults: tuple[Fault, ...], contradicted: set[str]) -> tuple[Fault, ...]:
    """Where nothing leads, or nothing is found, and something contradicts itself, that is cleared up next."""
    done = done_on(case, faults[0].cylinders) if faults else frozenset()
    wanted = (row.check for row in contradiction_rows() if row.id in contradicted and row.check not in {"", *done})
    if not faults or (first := next(wanted, None)) is None:
        return faults
    check = check_named(first)
    rest = tuple(c for c in faults[0].checks if c.id != check.id)
    return (msgspec.structs.replace(faults[0], next_check=check, checks=(check, *rest)), *faults[1:])


def _stop_for(kind: Kind, faults: Sequence[Fault], field: Sequence[Standing], signs: Sequence[str]) -> tuple[str, ...]:
    """Causes that a sign which forbids starting speaks for, and such a cause where it leads more likely than not."""
    warned = {c for sign in signs for c in evidence_rows()[sign].for_db}
    if kind != "open":
        warned |= {f.cause for f in faults if causes()[f.cause].stop and f.probability >= threshold("stop_share")}
    return tuple(dict.fromkeys(s.cause for s in field if s.cause in warned))


def _candidates(case: EngineCase, field: Sequence[Standing], shares: Sequence[float]) -> tuple[Candidate, ...]:
    """Causes that remain, likeliest first; what nothing speaks for and nothing tested is left out of the row."""
    diesel = case.engine.fuel == "diesel"
    rows = [
        Candidate(s.cause, causes()[s.cause].called(diesel), round(s.score_db, 1), round(p, 4))
        for s, p in zip(field, shares, strict=True)
        if p > 0
    ]
    return tuple(sorted(rows, key=lambda c: (-c.probability, -c.score_db)))


def _fault(lead: Lead, case: EngineCase, found: frozenset[str], tests: Sequence[TestState]) -> Fault:
    top, cause = lead.top, causes()[lead.top.cause]
    # What was not looked at may still hold a fault, whatever the tests made say.
    most = 1.0 if cause.id != NOTHING or looked_all_over(case) else threshold("nothing_share")
    share = min(lead.share, most)
    pairs = [(s, p) for s, p in zip(lead.field, lead.shares, strict=True) if s is not top and p > 0]
    others = _candidates(case, [s for s, _ in pairs], [p for _, p in pairs])
    named = {s.cause for s in lead.field if spoken(s) or (s.cause == NOTHING and cause.id == "test-fault")}
    rivals = tuple(c for c in others if c.cause in named and c.probability >= NEAR * lead.share)
    again = repeat_first(lead)
    place = told.place(cause, lead.cylinders)
    words = cause.called(case.engine.fuel == "diesel")
    checks = next_checks(lead, case, found, again)
    return Fault(
        cause=cause.id,
        words=words,
        cylinders=lead.cylinders,
        place=place,
        probability=round(share, 4),
        score_db=round(top.score_db, 1),
        sure=told.sure(share),
        rivals=rivals,
        runner_up=others[0] if others else None,
        prior_db=round(top.score_db - top.capped_db - sum(x.db for x in top.lines), 1),
        supports=tuple(sorted((x for x in top.lines if x.db > 0), key=lambda x: -x.db)),
        against=tuple(sorted((x for x in top.lines if x.db < 0), key=lambda x: x.db)),
        capped_db=top.capped_db,
        next_check=checks[0],
        checks=checks,
        repeat_first=again,
        not_meant=cause.not_meant,
        owner=cause.owner,
        not_tested=tuple(
            UNLISTED.get(t) or blind_spots()[t].words for t in cause.tests if not was_made(case, t, lead.cylinders)
        ),
        text=told.fault(cause, words, place, share, rivals, tests),
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


FAULT_FROM = 0.5
"""A cylinder counts as faulty from this probability, as suspect below."""


def contradictions_found(findings: Sequence[Finding]) -> tuple[Contradiction, ...]:
    found = []
    places = (None, *sorted({n for f in findings for n in f.cylinders}))
    here = {n: {f.id for f in findings if (not f.cylinders if n is None else n in f.cylinders)} for n in places}
    for row in contradiction_rows():
        on = [n for n in places if here[n].issuperset(row.needs) and here[n].isdisjoint(row.unless)]
        if on:  # of the whole engine it is of no cylinder
            numbers = () if None in on else tuple(n for n in on if n is not None)
            found.append(Contradiction(row.id, numbers, row.words, row.then))
    return tuple(found)


def cylinder_standing(case: EngineCase, n: int, faults: Sequence[Fault]) -> CylinderStanding:
    """One word for a cylinder: a fault is a fault as soon as its figures are bad, even while its cause is open."""
    c = next((c for c in case.cylinders if c.cylinder == n), None)
    dry = dry_test(case)
    share, loss = dry.share.get(n), case.read(LOSS).get(n)
    low = n in dry.low or n in dry.short
    bad = low or (loss is not None and loss > threshold("loss_high_percent"))
    for f in faults:
        if n in f.cylinders and f.cause == "test-fault":
            return CylinderStanding(n, "test again", f.cause, f.words)
        if n in f.cylinders:
            at_fault = bad or f.probability >= FAULT_FROM
            return CylinderStanding(n, "fault" if at_fault else "suspect", f.cause, f.words)
    if c is None or (n not in dry.kpa and loss is None and not c.paths):
        return CylinderStanding(n, "not tested")
    if bad:
        return CylinderStanding(n, "suspect")
    short = share is not None and share < threshold("watch_share")
    lossy = loss is not None and loss > threshold("loss_usable_percent")
    if short or lossy:
        return CylinderStanding(n, "watch")
    # A reading that can be held against something, or a silent cylinder that was listened to.
    compared = loss is not None or (n in dry.kpa and (n in dry.share or dry.expected_kpa is not None))
    silent = c.paths.get("none", 0.0) >= threshold("path_likely")
    return CylinderStanding(n, "sound" if compared or silent else "cannot tell")
