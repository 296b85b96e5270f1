"""Sentences of the diagnosis: places, how sure, what is said of a fault and of the engine."""

from collections.abc import Sequence

from listen.diagnosis.case import numbers_of
from listen.diagnosis.model import Candidate, Fault, Kind
from listen.trade.causes import Cause

SURE = ((0.95, "very likely"), (0.8, "likely"), (0.5, "more likely than not"), (0.3, "possible"))
"""Words for a probability, from this figure up."""
NOT_SURE = "one of several"


def sure(probability: float) -> str:
    """How sure, in words."""
    return next((words for floor, words in SURE if probability >= floor), NOT_SURE)


def place(cause: Cause, cylinders: tuple[int, ...]) -> str:
    """Where a fault is."""
    if cylinders and cause.id == "gasket-next" and len(cylinders) == 2:
        return f"between cylinders {cylinders[0]} and {cylinders[1]}"
    if cylinders:
        return numbers_of(cylinders)
    if cause.id == "test-fault":
        return "the test as a whole"
    return "the whole engine" if cause.scope == "engine" else "cylinder not known"


def fault(
    cause: Cause, words: str, where: str, probability: float, rivals: Sequence[Candidate], open_tests: Sequence[str]
) -> str:
    """What may be said of one fault; of none, what was not asked or tested."""
    if cause.id == "nothing-found":
        text = f"Nothing found in what was tested, {sure(probability)}."
        if open_tests:
            text += f" Not asked or not tested: {', '.join(open_tests)}."
    else:
        text = f"{where[0].upper()}{where[1:]}: {words}, {sure(probability)} on what was entered."
    if rivals:
        named = [c.words for c in rivals]
        others = named[0] if len(named) == 1 else ", ".join(named[:-1]) + f" or {named[-1]}"
        text += f" It cannot be told from {others} yet."
    return f"{text} {cause.not_meant}"


def summary(kind: Kind, faults: Sequence[Fault]) -> str:
    """What may be said of the engine."""
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
