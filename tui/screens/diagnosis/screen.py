"""Diagnosis over the engine: faults with their support and their rivals, contradictions, what was not tested."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.events import Payload, SymptomNoted, SymptomsAsked
from tui.screens.base import BayScreen
from tui.screens.diagnosis.pages import page, symptom_words
from tui.screens.ticks import TickScreen
from tui.words import shown

if TYPE_CHECKING:
    from listen.jobs.job import Job


class DiagnosisScreen(BayScreen[None]):
    """One page of text, made anew whenever the job changes."""

    SHOWS_NUMBERS = "job"
    CSS_PATH = "diagnosis.tcss"
    AUTO_FOCUS = "#page"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("s", "symptom", "Symptoms")]

    def body(self) -> ComposeResult:
        """The page."""
        with VerticalScroll(id="page"):
            yield Static(id="text")

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self.bay.job.title, "what it says") if self.bay.job else ()

    def show_job(self, job: Job) -> None:
        """Weigh all evidence and show it."""
        from listen.diagnosis.diagnose import diagnose
        from listen.jobs.engine_case import engine_case

        try:
            text: Content = page(diagnose(engine_case(job)))
        except HisswayError as e:
            text = shown(f"! {e}", "$warning")
        text = Content.assemble(text, "\n\n", (symptom_words(job), "$secondary"))
        self.query_one("#text", Static).update(text)

    def action_symptom(self) -> None:
        """Go through the symptoms of the whole engine; that they were asked is kept, whatever the answer."""
        from listen.trade.facts import symptoms

        job = self.bay.job
        if job is None:
            return
        rows = [s for s in symptoms() if s.scope == "engine"]
        noted, all_of_them = set(job.symptoms), tuple(s.id for s in rows)

        def note(ticked: tuple[str, ...] | None) -> None:
            if ticked is None:
                return
            changed = [
                SymptomNoted(symptom=s, present=s in ticked) for s in all_of_them if (s in ticked) != (s in noted)
            ]
            asked = [] if set(all_of_them) <= set(job.asked) else [SymptomsAsked(symptoms=all_of_them)]
            if changed or asked:
                self._write(*changed, *asked)

        options = [(s.id, s.words) for s in rows]
        self.app.push_screen(
            TickScreen("Which symptoms does the engine show?", options, job.symptoms, may_be_none=True), note
        )

    def _write(self, *events: Payload) -> None:
        try:
            self.bay.write(*events)
        except HisswayError as e:
            self.refuse(e)
