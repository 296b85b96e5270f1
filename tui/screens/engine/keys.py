"""The keys of the Engine screen, and where they lead."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType

from listen.errors import HisswayError
from listen.jobs.events import Payload
from tui.screens.base import BayScreen
from tui.screens.engine import cells
from tui.screens.engine.type_line import TypeLine
from tui.screens.pick import PickScreen
from tui.screens.ticks import TickScreen


class EngineKeys(BayScreen[None]):
    """Bindings and actions; :class:`EngineScreen` shows."""

    SHOWS_NUMBERS = "job"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("r", "round", "Round"),
        Binding("R", "new_round", "New round", key_display="R"),
        Binding("p", "plug", "Plug"),
        Binding("c", "confirm", "Confirm"),
        Binding("b", "compare", "Before/after"),
        Binding("d", "diagnosis", "What it says"),
        Binding("f", "finding", "Finding"),
        Binding("P", "photos", "Photos", key_display="P"),
        Binding("tab", "app.focus_next", "Drawing or table", show=False),
    ]

    def cylinder(self) -> int:
        """The cylinder under the cursor."""
        raise NotImplementedError

    def action_back(self) -> None:
        """Leave the figure; else the job."""
        line = self.query_one(TypeLine)
        if line.display:
            line.end()
            self.query_one("#table").focus()
        else:
            super().action_back()

    def action_round(self) -> None:
        """Go on with the cylinder's latest round, or begin one."""
        from tui.screens.round.screen import RoundScreen

        job, cylinder = self.bay.job, self.cylinder()
        rounds = job.rounds_of(cylinder) if job else ()
        if rounds:
            self.app.push_screen(RoundScreen(rounds[-1].id))
        else:
            self.action_new_round()

    def action_new_round(self) -> None:
        """Begin a round on this cylinder."""
        from tui.screens.round.screen import RoundScreen

        opened = self.bay.open_job
        if opened is None:
            return
        try:
            round_id = opened.open_round(self.cylinder())
        except HisswayError as e:
            self.refuse(e)
            return
        self.bay.job = opened.job
        self.app.push_screen(RoundScreen(round_id))

    def action_plug(self) -> None:
        """How the plug looked."""
        cylinder = self.cylinder()
        seen = self.bay.job.plugs.get(cylinder) if self.bay.job else None
        chosen = seen.conditions[0] if seen and seen.conditions else ""

        def keep(condition: str | None) -> None:
            if condition is not None:
                self.write(cells.plug_event(cylinder, condition))

        self.app.push_screen(PickScreen(f"Plug of cylinder {cylinder}", cells.plug_choices(), chosen), keep)

    def action_diagnosis(self) -> None:
        """What the pattern over the engine says."""
        from tui.screens.diagnosis.screen import DiagnosisScreen

        self.app.push_screen(DiagnosisScreen())

    def action_photos(self) -> None:
        """Photos of this cylinder."""
        from tui.screens.photos.screen import PhotosScreen

        self.app.push_screen(PhotosScreen(self.cylinder()))

    def action_compare(self) -> None:
        """Two jobs on one engine side by side."""
        from tui.screens.compare.screen import CompareScreen

        self.app.push_screen(CompareScreen())

    def action_finding(self) -> None:
        """What the teardown showed: the truth."""
        cylinder = self.cylinder()
        found = self.bay.job.findings.get(cylinder) if self.bay.job else None
        by = self.bay.job.people.get("tech", "") if self.bay.job else ""

        def keep(paths: tuple[str, ...] | None) -> None:
            if paths is not None:
                self.write(cells.finding_event(cylinder, paths, by))

        title = f"Teardown finding on cylinder {cylinder}: what was it really?"
        self.app.push_screen(TickScreen(title, cells.finding_choices(), found.paths if found else ()), keep)

    def action_confirm(self) -> None:
        """The supervisor's screen for this cylinder's latest round."""
        from tui.screens.confirm.screen import ConfirmScreen

        rounds = self.bay.job.rounds_of(self.cylinder()) if self.bay.job else ()
        if rounds and rounds[-1].verdict is not None:
            self.app.push_screen(ConfirmScreen(rounds[-1].id))
        else:
            self.tell("This cylinder's round has no verdict yet: nothing to confirm.")

    def write(self, payload: Payload) -> None:
        try:
            self.bay.write(payload)
        except HisswayError as e:
            self.refuse(e)
