"""Diagnosis over the engine: faults, support and rivals, checks and their outcomes, what was not tested."""

from textual.binding import Binding
from textual.content import Content

from listen.diagnosis.model import Diagnosis
from listen.errors import HisswayError
from listen.jobs.job import Job
from listen.trade.units import said_in, unit_named
from tui.content import shown
from tui.screens.base import TextScreen
from tui.screens.diagnosis import checks
from tui.screens.diagnosis.pages import page, symptom_words
from tui.screens.dialog import PickScreen


class DiagnosisScreen(TextScreen):
    """One page of text, made anew whenever the job changes."""

    HERE = "diagnosis"
    SHOWS_NUMBERS = "job"
    BINDINGS = [Binding("c", "checks", "Checks"), Binding("s", "show('facts')", "Facts"), Binding("w", "why", "Why")]
    why = False
    """Whether every weight comes with its reason and source."""

    def show_job(self, job: Job) -> None:
        try:
            text: Content = page(_diagnosis(job), job, checks.made_words(job), why=self.why)
        except HisswayError as e:
            text = shown(f"! {e}", "$warning")
        text = Content.assemble(text, "\n\n", (symptom_words(job), "$secondary"))
        self.put(text)

    def action_why(self) -> None:
        self.why = not self.why
        self.show_again()

    def action_checks(self) -> None:
        """The checks asked for and made: choose one, then what came of it."""
        listed = checks.listed(self.job, _diagnosis(self.job))
        if not listed:
            self.tell("No check is asked for yet.")
            return

        def chosen(key: str) -> None:
            asked = listed[key]
            if asked.which:
                title = f"{self._told(asked.title)}\nOn which cylinder?"
                self.ask(PickScreen(title, asked.cylinders()), lambda place: self._outcome(asked.on(place)))
            else:
                self._outcome(asked)

        options = [(key, asked.words, asked.more) for key, asked in listed.items()]
        self.ask(PickScreen("Which check was made?", options), chosen)

    def _told(self, words: str) -> str:
        """A sentence of the tables with its pressures in the job's unit."""
        return said_in(words, unit_named(self.job.pressure_unit))

    def _outcome(self, asked: checks.Asked) -> None:
        dialog = PickScreen(self._told(asked.title), asked.outcomes(), asked.outcome)
        self.ask(dialog, lambda outcome: self.bay.write(asked.event(outcome)))


def _diagnosis(job: Job) -> Diagnosis:
    from listen.jobs.engine_case import diagnosed

    return diagnosed(job)
