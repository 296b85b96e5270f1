"""Which tests were made on which cylinders, and what remains untested."""

from collections.abc import Callable

from listen.diagnosis.case import CylinderCase, EngineCase, Made
from listen.diagnosis.model import TestState
from listen.trade.checks import NOT_POSSIBLE, known_check
from listen.trade.contradictions import BlindSpot, blind_spots
from listen.trade.facts import core, facts

BY_CYLINDER: dict[str, Callable[[CylinderCase], bool]] = {
    "compression": lambda c: c.dry_kpa is not None,
    "wet": lambda c: c.wet_kpa is not None,
    "loss": lambda c: c.loss_percent is not None,
    "listening": lambda c: bool(c.paths),
    "bubbles": lambda c: c.bubbles_seen is not None,
    "plugs": lambda c: bool(c.plugs),
}
"""How a cylinder shows that a test was made on it."""

BY_GROUP = {"smoke": ("smoke", "oil", "running"), "cooling": ("cooling",)}
"""Groups of facts; all of their core questions answered show that the engine was looked at in this way."""
MADE = "made"
"""Note of a test with nothing left open."""
CRANKCASE = ("crankcase-kpa", "crankcase-pressure", "filler-puffing")
"""Facts of which any answered tells of the crankcase."""


def made_on(case: EngineCase, test: str) -> tuple[int, ...]:
    """Cylinders on which a test was made, by a reading or as a check that was asked for."""
    read = BY_CYLINDER.get(test)
    checked = {m.cylinder for m in case.made if read and _is_made(m, test)}
    if None in checked:
        return case.engine.cylinders
    return tuple(
        n
        for n in case.engine.cylinders
        if n in checked or (read and any(read(c) for c in case.cylinders if c.cylinder == n))
    )


def _is_made(made: Made, test: str) -> bool:
    """True where a check with this outcome was the test."""
    check = known_check(made.check)
    return check is not None and made.outcome != NOT_POSSIBLE and test in check.done_by


def was_made(case: EngineCase, test: str, cylinders: tuple[int, ...] = ()) -> bool:
    """True where a test was made (on all the given cylinders, if any are given)."""
    answered = {*case.symptoms, *case.no, *case.figures}
    if test == "crankcase":
        return bool(answered.intersection(CRANKCASE))
    if test in BY_GROUP:
        return case.symptoms_asked or any(facts()[f].group in BY_GROUP[test] for f in answered if f in facts())
    made = made_on(case, test)
    return set(cylinders) <= set(made) if cylinders else bool(made)


def tests_of(case: EngineCase) -> tuple[TestState, ...]:
    """Every kind of test the tables know, made or not."""
    return tuple(_state(case, test, spot) for test, spot in blind_spots().items())


def _state(case: EngineCase, test: str, spot: BlindSpot) -> TestState:
    on = made_on(case, test)
    made = was_made(case, test)
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


def have(case: EngineCase, cylinders: tuple[int, ...]) -> frozenset[str]:
    """Kinds of evidence the job holds for these cylinders (all of them), for skipping checks already done."""
    return frozenset(test for test in BY_CYLINDER if was_made(case, test, cylinders))
