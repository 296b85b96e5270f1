"""What to check next for a fault: cheapest first, nothing made already, nothing that safety forbids yet;
which tests were made on which cylinders, and what remains untested."""

from collections.abc import Callable, Sequence
from itertools import chain

from listen.diagnosis.case import DRY, LOSS, WET, CylinderCase, EngineCase, Finding, Made
from listen.diagnosis.faults import Lead, spoken
from listen.diagnosis.leakage import AFTER_RUN, AGAIN
from listen.diagnosis.model import MADE, TestState
from listen.diagnosis.weigh import Standing
from listen.trade.causes import BlindSpot, blind_spots
from listen.trade.checks import (
    NOT_POSSIBLE,
    Check,
    check_named,
    checks_alone,
    checks_between,
    evidence_rows,
    known_check,
    safe_order,
)
from listen.trade.facts import core, facts
from listen.trade.numbers import threshold

CLEAR_FROM = 0.8
"""From this probability a cause leads clearly: what would confirm it comes next."""
MOST = 6
NOTHING_LEFT = "decide"


def next_checks(lead: Lead, case: EngineCase, found: frozenset[str], again: bool) -> tuple[Check, ...]:
    """Checks that separate a cause from its runners-up, then what confirms it alone.

    Where the test is to be repeated first (``again``), that comes first. A runner-up is a cause that some evidence
    speaks for. What safety puts before a check takes its place. Never empty: where no check is left, a person decides.
    """
    cause, done = lead.top.cause, done_on(case, lead.cylinders)
    separating = [checks_between(cause, other.cause, done, found) for other in _runners_up(lead)]
    repeat = checks_between(cause, "test-fault", done, found)[:1] if again else ()
    alone = checks_alone(cause, whole=not lead.cylinders, done=done, found=found)
    # The best of each rival first, then what confirms the cause, then the rest.
    ordered = safe_order(
        (*repeat, *(c for each in separating for c in each[:1]), *alone, *chain(*separating)), done, found
    )
    return ordered[:MOST] or (check_named(NOTHING_LEFT),)


def done_on(case: EngineCase, cylinders: tuple[int, ...]) -> frozenset[str]:
    """Checks made on these cylinders, each of them, or on the engine; and kinds of evidence at hand for them."""
    on = [m.check for m in case.made if m.cylinder is None or m.outcome == NOT_POSSIBLE or _on_all(case, m, cylinders)]
    # `here and` below: all() of no cylinder would be true.
    here = [c for c in case.cylinders if not cylinders or c.cylinder in cylinders]
    both = {n for c in here for n in (c.cylinder, *c.heard_at_holes) if c.paths}
    kinds = {
        "loss-on-all": len(case.engine.cylinders) < 2 or case.read(LOSS).keys() >= set(case.engine.cylinders),
        AGAIN: here and all(AGAIN in c.figures for c in here),
        AFTER_RUN: here and all(AFTER_RUN in c.figures for c in here),
        "both-ways": len(cylinders) > 1 and both >= set(cylinders) and all(c.paths for c in here),
    } | {test: was_made(case, test, cylinders) for test in BY_CYLINDER}
    return frozenset((*on, *(kind for kind, there in kinds.items() if there)))


def _on_all(case: EngineCase, made: Made, cylinders: tuple[int, ...]) -> bool:
    """True where a check of one cylinder was made on each that it may be: the fault's, else the engine's.

    Fed from either side the two cylinders of a pair tell the same.
    """
    asked = set(cylinders or case.engine.cylinders)
    check = known_check(made.check)
    if made.cylinder not in asked or check is None:
        return False
    # One cylinder's check is enough only where it says the same of the other.
    return check.either or asked <= {m.cylinder for m in case.made if m.check == made.check}


def repeat_first(lead: Lead) -> bool:
    """True where the test itself is the nearest rival and nearly as likely."""
    nearest = next(iter(_others(lead)), lead.top)
    return nearest.cause == "test-fault" and lead.top.score_db - nearest.score_db <= threshold("repeat_db")


def _others(lead: Lead) -> list[Standing]:
    """Causes beside the leading one that signs of their own speak for, likeliest first."""
    pairs = sorted(zip(lead.shares, lead.field, strict=True), key=lambda p: (-p[0], -p[1].score_db))
    return [s for _, s in pairs if s is not lead.top and spoken(s)]


def _runners_up(lead: Lead) -> list[Standing]:
    """Causes worth telling apart from the leading one, nearest first."""
    top, others = lead.top, _others(lead)
    near = [s for s in others if top.score_db - s.score_db <= threshold("rivals_db")]
    if top.cause == "test-fault" or lead.share >= CLEAR_FROM:
        return near
    further = [s for s in others if s not in near and top.score_db - s.score_db <= threshold("strong_db")]
    return [*near, *(s for s in further if s.cause != "test-fault")]


def stop_signs(findings: Sequence[Finding], made: Sequence[Made]) -> tuple[str, ...]:
    """Rows of evidence with which the engine is not to be started, of the findings at hand and the checks made."""
    rows = evidence_rows()
    lifted = {f.id for f in findings} | {f"{m.check}:{m.outcome}" for m in made}
    # What is heard as likely only, or by ear alone (a share of a half), forbids nothing.
    found = (rows[f.id] for f in findings if f.share > 0.5 and f.id in rows)
    return tuple(dict.fromkeys(row.id for row in found if row.stop and not lifted.intersection(row.stop_until)))


BY_CYLINDER: dict[str, Callable[[CylinderCase], bool]] = {
    "compression": lambda c: DRY in c.figures,
    "wet": lambda c: WET in c.figures,
    "loss": lambda c: LOSS in c.figures,
    "listening": lambda c: bool(c.paths),
    "bubbles": lambda c: c.bubbles_seen is not None,
    "plugs": lambda c: bool(c.plugs),
}
"""How a cylinder shows that a test was made on it."""

BY_GROUP = {"smoke": ("smoke", "oil", "running"), "cooling": ("cooling",)}
"""Groups of facts; all of their core questions answered show that the engine was looked at in this way."""
CRANKCASE = ("crankcase-kpa", "crankcase-pressure", "filler-puffing")
"""Facts of which any answered tells of the crankcase."""


def made_on(case: EngineCase, test: str) -> tuple[int, ...]:
    """Cylinders on which a test was made, by a reading or as a check that was asked for."""
    if (read := BY_CYLINDER.get(test)) is None:
        return ()
    made = ((m, known_check(m.check)) for m in case.made if m.outcome != NOT_POSSIBLE)
    on = {m.cylinder for m, check in made if check is not None and test in check.done_by}
    on |= {c.cylinder for c in case.cylinders if read(c)}
    return tuple(n for n in case.engine.cylinders if n in on or None in on)


def was_made(case: EngineCase, test: str, cylinders: tuple[int, ...] = ()) -> bool:
    """True where a test was made (on all the given cylinders, if any are given)."""
    answered = {*case.symptoms, *case.no, *case.figures}
    if test == "crankcase":
        return bool(answered.intersection(CRANKCASE))
    if test in BY_GROUP:
        return case.symptoms_asked or any(facts()[f].group in BY_GROUP[test] for f in answered if f in facts())
    made = made_on(case, test)
    return set(cylinders) <= set(made) if cylinders else bool(made)


NOTHING_THERE = {"air": "bubbles", "diesel": "plugs"}
"""Tests that an engine so cooled, or so fuelled, has nothing for: nobody is told that they were not made."""


def tests_of(case: EngineCase) -> tuple[TestState, ...]:
    without = {NOTHING_THERE.get(case.engine.cooling), NOTHING_THERE.get(case.engine.fuel)}
    return tuple(_state(case, test, spot) for test, spot in blind_spots().items() if test not in without)


def _state(case: EngineCase, test: str, spot: BlindSpot) -> TestState:
    on, made = made_on(case, test), was_made(case, test)
    missing = [n for n in case.engine.cylinders if n not in on] if test in BY_CYLINDER else []
    note = MADE if made and not missing else "not made" if not made else f"not on {', '.join(map(str, missing))}"
    if made and test in BY_GROUP and (open_ := _open_questions(case, test)):
        note = f"in part: {open_} of its usual questions not asked"
    if test == "listening" and not made and any(c.by_ear for c in case.cylinders):
        note = "by ear only, not with the microphone"
    if test == "listening" and (before := next((c.heard_before for c in case.cylinders if c.heard_before), "")):
        note += f"; {before}"
    return TestState(test, spot.words, on, made, note, spot.blind_to, spot.misleads)


def looked_all_over(case: EngineCase) -> bool:
    """True where every cylinder was measured and every usual question asked: little is left to be found."""
    measured = (set(made_on(case, test)) for test in ("compression", "loss"))
    everywhere = any(set(case.engine.cylinders) <= on for on in measured)
    return everywhere and not any(_open_questions(case, test) for test in BY_GROUP)


def _open_questions(case: EngineCase, test: str) -> int:
    asked = {*case.symptoms, *case.no}
    return sum(f not in asked for f in core() if facts()[f].group in BY_GROUP[test])
