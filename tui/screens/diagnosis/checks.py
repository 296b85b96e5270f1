"""The checks a diagnosis asks for and those that were made, as one list; and what may have come of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from listen.jobs.events import CheckMade
from listen.trade.checks import NOT_POSSIBLE, Check, known_check

if TYPE_CHECKING:
    from listen.diagnosis.model import Diagnosis
    from listen.jobs.job import Job

TAKEN_BACK = "taken-back"


@dataclass(frozen=True, slots=True)
class Asked:
    """One check at one place."""

    check: Check
    cylinder: int | None
    outcome: str = ""
    """What came of it, where it was made."""

    @property
    def place(self) -> str:
        """Where it belongs."""
        return f"cylinder {self.cylinder}: " if self.cylinder is not None else ""

    @property
    def words(self) -> str:
        """Its name and place; what came of it where it was made."""
        done = f" · {outcome_words(self.check, self.outcome)}" if self.outcome else ""
        return f"{self.place}{self.check.words}{done}"

    @property
    def more(self) -> str:
        """Time and tools."""
        return "" if self.outcome else f"about {self.check.minutes} min, {self.check.tools}"

    @property
    def title(self) -> str:
        """How it is made, the danger first."""
        danger = f"▲ {self.check.risk}\n" if self.check.risk else ""
        return f"{danger}{self.place}{self.check.do}"

    def outcomes(self) -> list[tuple[str, str, str]]:
        """What may have come of it, with what that says."""
        lines = [(o.id, o.words, f"→ {o.says}") for o in self.check.outcomes]
        lines.append((NOT_POSSIBLE, "cannot be made here", "is not asked again"))
        return [*lines, (TAKEN_BACK, "take the outcome back", "")] if self.outcome else lines

    def event(self, outcome: str) -> CheckMade:
        """The event that keeps an outcome."""
        kept = "" if outcome == TAKEN_BACK else outcome
        return CheckMade(check=self.check.id, outcome=kept, cylinder=self.cylinder)


def listed(job: Job, diagnosis: Diagnosis) -> dict[str, Asked]:
    """Checks asked for, the next of each fault first, then those made; by a key that tells place and check."""
    lines: list[Asked] = []
    for fault in diagnosis.faults:
        for check in fault.checks:
            if check.outcomes:
                at = fault.cylinders[:1] if check.at == "cylinder" else ()
                lines.append(Asked(check, at[0] if at else None))
    lines += [Asked(c, made.cylinder, made.outcome) for made in job.checks if (c := known_check(made.check))]
    return {f"{a.check.id}@{a.cylinder}": a for a in lines}


def outcome_words(check: Check, outcome: str) -> str:
    """What came of a check."""
    if outcome == NOT_POSSIBLE:
        return "cannot be made here"
    known = check.outcome(outcome)
    return known.words if known else outcome


def made_words(job: Job) -> tuple[str, ...]:
    """Every check made, with its outcome."""
    made = [Asked(c, m.cylinder, m.outcome) for m in job.checks if (c := known_check(m.check))]
    return tuple(a.words for a in made)
