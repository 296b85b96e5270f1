"""The owner's page: what was tested and found, how sure, what is next, in plain words; never an order to repair."""

from __future__ import annotations

from listen.diagnosis.model import Diagnosis, Fault
from listen.report.content import OwnerPart
from listen.trade.cautions import cautions_for

NO_FAULT = ("Nothing to report yet", "", "There is too little in this job to say anything about the engine.")
WAITING = (
    "How long the engine may be run, and what waiting costs, is for a qualified person to say after the next check. "
    "Stop and ask at once if it overheats, if coolant appears in the oil, or if it knocks."
)
ENOUGH = 0.05
"""A cause less probable than this, though a common one, counts as unlikely on the owner's page."""


def owner_part(d: Diagnosis, engine_words: str) -> OwnerPart:
    """Put a diagnosis in the owner's words."""
    everywhere = tuple(c.cylinder for c in d.cylinders)
    made = [t.words + _where(t.cylinders, everywhere) for t in d.tests if t.made]
    missing = [t.words for t in d.tests if not t.made]
    return OwnerPart(
        tested=tuple(made) or (f"{engine_words}: nothing yet",),
        found=tuple(_found(f) for f in d.faults) if d.faults and d.kind != "open" else (_open(d),),
        next=tuple(_next(f) for f in d.faults),
        ruled_out=_unlikely(d),
        not_tested=tuple(missing),
        change_mind=_change_mind(d),
        waiting=_waiting(d),
    )


def _waiting(d: Diagnosis) -> str:
    """What waiting costs; the caution to stop comes first where a finding or a leading cause asks for it."""
    if not d.stop_for:
        return WAITING
    return " ".join([*(c.words for c in cautions_for("stop-driving")), WAITING])


def _where(cylinders: tuple[int, ...], everywhere: tuple[int, ...]) -> str:
    """On which cylinders, in brackets; empty for a test of the whole engine."""
    if not cylinders:
        return ""
    if cylinders == everywhere and len(everywhere) > 1:
        return " (all cylinders)"
    return f" (cylinder{'s' if len(cylinders) > 1 else ''} {', '.join(map(str, cylinders))})"


def _found(f: Fault) -> tuple[str, str, str]:
    sure = f.sure
    if f.rivals:
        sure += f"; it could still be {' or '.join(c.words for c in f.rivals)}"
    return f"{f.place[0].upper()}{f.place[1:]}: {f.words}", sure, f.owner


def _open(d: Diagnosis) -> tuple[str, str, str]:
    if d.kind != "open":
        return NO_FAULT
    named = ", ".join(c.words for c in d.candidates[:3])
    return "It cannot be told yet", f"first in line: {named}", "More has to be tested before anything can be advised."


def _next(f: Fault) -> str:
    check = f.next_check
    mind = f"Mind: {check.risk} " if check.risk else ""
    return f"{f.place[0].upper()}{f.place[1:]}: {mind}{check.do} About {check.minutes} minutes. {check.means}"


def _unlikely(d: Diagnosis) -> tuple[str, ...]:
    named = {f.cause for f in d.faults} | {c.cause for f in d.faults for c in f.rivals} | set(d.stop_for)
    named |= {"test-fault", "nothing-found"}
    if d.kind in ("open", "nothing-entered"):
        return ()
    return tuple(c.words for c in d.candidates if c.cause not in named and c.probability < ENOUGH)


def _change_mind(d: Diagnosis) -> str:
    if not d.faults:
        return "Any test at all would tell more."
    first = d.faults[0]
    return f"What would change our mind is the next check: {first.next_check.means}"
