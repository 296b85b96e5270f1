"""Diagnosis over the engine: faults, support and rivals, what was not tested; checks and what came of them."""

from dataclasses import dataclass, replace

from textual.binding import Binding
from textual.content import Content

from listen.diagnosis.model import Diagnosis
from listen.errors import HisswayError
from listen.jobs.engine_case import diagnosed
from listen.jobs.events import CheckMade
from listen.jobs.job import Job
from listen.trade.checks import NOT_POSSIBLE, Check, known_check
from listen.trade.units import said_in, unit_named
from tui.content import shown
from tui.screens.base import TextScreen, asks
from tui.screens.diagnosis.pages import page, symptom_words

TAKEN_BACK = "taken-back"
NO_ONE, NOT_HERE = "none", "cannot be made here"


@dataclass(frozen=True, slots=True)
class Asked:
    check: Check
    cylinder: int | None
    outcome: str = ""
    which: tuple[int, ...] = ()
    """Cylinders it may be made on, where it is not known which is meant."""

    @property
    def place(self) -> str:
        if self.which:
            return "a cylinder: "
        return f"cylinder {self.cylinder}: " if self.cylinder is not None else ""

    @property
    def words(self) -> str:
        """Its name and place; what came of it where it was made."""
        known = self.check.outcome(self.outcome)
        done = known.words if known else NOT_HERE if self.outcome == NOT_POSSIBLE else self.outcome
        return f"{self.place}{self.check.words}{f' · {done}' if done else ''}"

    @property
    def more(self) -> str:
        return "" if self.outcome else f"about {self.check.minutes} min, {self.check.tools}"

    @property
    def title(self) -> str:
        """How it is made, the danger first."""
        danger = f"▲ {self.check.risk}\n" if self.check.risk else ""
        return f"{danger}{self.place}{self.check.do}"

    def outcomes(self) -> list[tuple[str, str, str]]:
        """What may have come of it, with what that says."""
        lines = [(o.id, o.words, f"→ {o.says}") for o in self.check.outcomes]
        lines.append((NOT_POSSIBLE, NOT_HERE, "is not asked again"))
        return [*lines, (TAKEN_BACK, "take the outcome back", "")] if self.outcome else lines

    def event(self, outcome: str) -> CheckMade:
        kept = "" if outcome == TAKEN_BACK else outcome
        return CheckMade(check=self.check.id, outcome=kept, cylinder=self.cylinder)


def listed(job: Job, diagnosis: Diagnosis) -> dict[str, Asked]:
    """Checks asked for, the next of each fault first, then those made; by a key that tells place and check.

    A check of one cylinder is listed for each of the fault's cylinders on which it was not made.
    """
    done = {(a.check.id, a.cylinder) for a in made(job)}
    lines: list[Asked] = []
    for fault in diagnosis.faults:
        for check in fault.checks:
            if not check.outcomes:
                continue
            if check.at == "engine":
                lines.append(Asked(check, None))
                continue
            left = [n for n in fault.cylinders or job.engine.cylinders if (check.id, n) not in done]
            known = bool(fault.cylinders) or len(left) == 1
            lines += [Asked(check, n) for n in left] if known else [Asked(check, None, which=tuple(left))]
    return {f"{a.check.id}@{'?' if a.which else a.cylinder}": a for a in (*lines, *made(job))}


def made(job: Job) -> list[Asked]:
    """Checks that were made, with what came of them."""
    return [Asked(c, m.cylinder, m.outcome) for m in job.checks if (c := known_check(m.check))]


class DiagnosisScreen(TextScreen):
    """One page of text, made anew whenever the job changes."""

    HERE = "diagnosis"
    SHOWS_NUMBERS = "job"
    BINDINGS = [Binding("c", "checks", "Checks"), Binding("s", "show('facts')", "Facts"), Binding("w", "why", "Why")]
    why = False
    """Whether every weight comes with its reason and source."""

    def show_job(self, job: Job) -> None:
        try:
            text: Content = page(diagnosed(job), job, tuple(a.words for a in made(job)), why=self.why)
        except HisswayError as e:
            text = shown(f"! {e}", "$warning")
        text = Content.assemble(text, "\n\n", (symptom_words(job), "$secondary"))
        self.put(text)

    def action_why(self) -> None:
        self.why = not self.why
        self.show_again()

    @asks
    async def action_checks(self) -> None:
        found, unit = listed(self.job, diagnosed(self.job)), unit_named(self.job.pressure_unit)
        if not found:
            self.tell("No check is asked for yet.")
            return
        options = [(key, asked.words, asked.more) for key, asked in found.items()]
        if (key := await self.pick("Which check was made?", options)) is None:
            return
        asked = found[key]
        if asked.which:
            title = f"{said_in(asked.title, unit)}\nOn which cylinder?"
            places = [*((str(n), f"cylinder {n}") for n in asked.which), (NO_ONE, "no one cylinder in particular")]
            if (place := await self.pick(title, places)) is None:
                return
            asked = replace(asked, cylinder=None if place == NO_ONE else int(place), which=())
        outcome = await self.pick(said_in(asked.title, unit), asked.outcomes(), asked.outcome)
        if outcome is not None:
            self.write(asked.event(outcome))
