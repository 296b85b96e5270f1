"""Diagnosis over the engine: faults with their support and their rivals, contradictions, what was not tested."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.events import SymptomNoted
from tui.screens.base import BayScreen
from tui.screens.diagnosis.pages import page
from tui.screens.pick import PickScreen
from tui.words import shown

if TYPE_CHECKING:
    from listen.jobs.job import Job


class DiagnosisScreen(BayScreen[None]):
    """One page of text, made anew whenever the job changes."""

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
        self.query_one("#text", Static).update(text)

    def action_symptom(self) -> None:
        """Note or withdraw a symptom of the whole engine."""
        from listen.trade.symptoms import symptoms

        job = self.bay.job
        if job is None:
            return
        noted = set(job.symptoms)
        rows = [s for s in symptoms() if s.scope == "engine"]
        options = [(s.id, f"{'●' if s.id in noted else '○'} {s.words}", "") for s in rows]

        def note(chosen: str | None) -> None:
            if chosen is None:
                return
            try:
                self.bay.write(SymptomNoted(symptom=chosen, present=chosen not in noted))
            except HisswayError as e:
                self.refuse(e)
                return
            self.action_symptom()

        self.app.push_screen(PickScreen("Which symptoms does the engine show? Esc when done.", options), note)
