"""Engine: the drawing, the table one types into, and the way to each cylinder's round."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.coordinate import Coordinate
from textual.widgets import DataTable, Static

from listen.errors import HisswayError
from listen.jobs.events import Payload
from listen.jobs.table import CylinderRow, cylinder_rows, lowest_share
from listen.trade.units import unit_named
from tui.screens.base import BayScreen
from tui.screens.engine import cells
from tui.screens.engine.type_line import TypeLine
from tui.screens.pick import PickScreen
from tui.widgets.engine_view import EngineView, Pot
from tui.words import path_words, plain

if TYPE_CHECKING:
    from listen.jobs.job import Job

PADDING = 2 * len(cells.COLUMNS) + 2


class EngineScreen(BayScreen[None]):
    """All cylinders of the open job."""

    CSS_PATH = "engine.tcss"
    AUTO_FOCUS = "#table"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("r", "round", "Round"),
        Binding("R", "new_round", "New round", key_display="R"),
        Binding("p", "plug", "Plug"),
        Binding("c", "confirm", "Confirm"),
        Binding("b", "compare", "Before/after"),
        Binding("d", "diagnosis", "What it says"),
        Binding("f", "finding", "Finding"),
        Binding("tab", "app.focus_next", "Drawing or table", show=False),
    ]

    def body(self) -> ComposeResult:
        """Drawing, table, the line that is typed into, what the figures say."""
        yield EngineView()
        yield DataTable[Text](id="table", cursor_type="cell", zebra_stripes=False)
        yield TypeLine()
        yield Static(id="says")

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self.bay.job.title, "engine") if self.bay.job else ()

    # ------------------------------------------------------------------ showing

    def show_job(self, job: Job) -> None:
        """Fill drawing, table and summary."""
        rows = cylinder_rows(job)
        view = self.query_one(EngineView)
        view.rows = job.engine.rows
        view.pots = {row.cylinder: _pot(row) for row in rows}
        self._fill(rows, job)
        view.chosen = self._cylinder()
        said = Content.assemble(
            *((f"{w}\n", "bold $accent") for w in [self.bay.services.welcome()] if w), _summary(rows, job)
        )
        self.query_one("#says", Static).update(said)

    def _fill(self, rows: tuple[CylinderRow, ...], job: Job) -> None:
        table: DataTable[Text] = self.query_one("#table", DataTable)
        at = table.cursor_coordinate if table.row_count else Coordinate(0, 1)
        table.clear(columns=True)
        taken = sum(c.width for c in cells.COLUMNS) + PADDING
        for column in cells.COLUMNS:
            table.add_column(
                column.head.format(unit=job.pressure_unit),
                width=column.width or max(12, self.size.width - taken),
                key=column.id,
            )
        for row in rows:
            words = cells.texts(row, job)
            table.add_row(*(Text(words[c.id], no_wrap=True, overflow="ellipsis") for c in cells.COLUMNS))
        table.move_cursor(row=min(at.row, len(rows) - 1), column=at.column)

    def on_resize(self) -> None:
        """The verdict column takes what is left."""
        if self.bay.job is not None:
            self.show_job(self.bay.job)

    # ------------------------------------------------------------------ where the cursor is

    def _cylinder(self) -> int:
        job = self.bay.job
        table = self.query_one("#table", DataTable)
        if job is None:
            return 0
        return job.engine.cylinders[min(table.cursor_row, len(job.engine.cylinders) - 1)]

    def _column(self) -> cells.Column:
        return cells.COLUMNS[min(self.query_one("#table", DataTable).cursor_column, len(cells.COLUMNS) - 1)]

    @on(DataTable.CellHighlighted)
    def _moved(self) -> None:
        self.query_one(EngineView).chosen = self._cylinder()

    @on(EngineView.Chosen)
    def _drawn_chosen(self, event: EngineView.Chosen) -> None:
        if self.bay.job is not None and event.number in self.bay.job.engine.cylinders:
            self.query_one("#table", DataTable).move_cursor(row=self.bay.job.engine.cylinders.index(event.number))

    @on(EngineView.Opened)
    def _drawn_opened(self) -> None:
        self.action_round()

    @on(DataTable.CellSelected)
    def _selected(self) -> None:
        column = self._column()
        if column.typed:
            self._type("")
        elif column.id == "plug":
            self.action_plug()
        else:
            self.action_round()

    # ------------------------------------------------------------------ typing figures

    def on_key(self, event: events.Key) -> None:
        """A digit on a figure's cell starts typing there."""
        table = self.query_one("#table", DataTable)
        if table.has_focus and self._column().typed and (event.character or "").isdecimal():
            event.stop()
            event.prevent_default()
            self._type(event.character or "")

    def _type(self, text: str) -> None:
        if self.bay.job is not None:
            self.query_one(TypeLine).begin(self._column(), self._cylinder(), self.bay.job, text)

    @on(TypeLine.Typed)
    def _typed(self, event: TypeLine.Typed) -> None:
        row = self.query_one("#table", DataTable).cursor_row
        try:
            self.bay.write(event.payload)
        except HisswayError as e:
            self.query_one(TypeLine).remark(f"! {e}")
            return
        self.query_one(TypeLine).end()
        self.query_one("#table").focus()
        self.query_one("#table", DataTable).move_cursor(row=row + 1)

    @on(TypeLine.Left)
    def _left(self) -> None:
        self.query_one("#table").focus()

    # ------------------------------------------------------------------ keys

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

        job, cylinder = self.bay.job, self._cylinder()
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
            round_id = opened.open_round(self._cylinder())
        except HisswayError as e:
            self.refuse(e)
            return
        self.bay.job = opened.job
        self.app.push_screen(RoundScreen(round_id))

    def action_plug(self) -> None:
        """How the plug looked."""
        cylinder = self._cylinder()
        seen = self.bay.job.plugs.get(cylinder) if self.bay.job else None
        chosen = seen.conditions[0] if seen and seen.conditions else ""

        def keep(condition: str | None) -> None:
            if condition is not None:
                self._write(cells.plug_event(cylinder, condition))

        self.app.push_screen(PickScreen(f"Plug of cylinder {cylinder}", cells.plug_choices(), chosen), keep)

    def action_diagnosis(self) -> None:
        """What the pattern over the engine says."""
        from tui.screens.diagnosis.screen import DiagnosisScreen

        self.app.push_screen(DiagnosisScreen())

    def action_compare(self) -> None:
        """Two jobs on one engine side by side."""
        from tui.screens.compare.screen import CompareScreen

        self.app.push_screen(CompareScreen())

    def action_finding(self) -> None:
        """What the teardown showed: the truth."""
        cylinder = self._cylinder()
        found = self.bay.job.findings.get(cylinder) if self.bay.job else None
        by = self.bay.job.people.get("tech", "") if self.bay.job else ""

        def keep(path: str | None) -> None:
            if path is not None:
                self._write(cells.finding_event(cylinder, path, by))

        title = f"Teardown finding on cylinder {cylinder}: what was it really?"
        self.app.push_screen(PickScreen(title, cells.finding_choices(), found.paths[0] if found else ""), keep)

    def action_confirm(self) -> None:
        """The supervisor's screen for this cylinder's latest round."""
        from tui.screens.confirm.screen import ConfirmScreen

        rounds = self.bay.job.rounds_of(self._cylinder()) if self.bay.job else ()
        if rounds and rounds[-1].verdict is not None:
            self.app.push_screen(ConfirmScreen(rounds[-1].id))
        else:
            self.tell("This cylinder's round has no verdict yet: nothing to confirm.")

    def _write(self, payload: Payload) -> None:
        try:
            self.bay.write(payload)
        except HisswayError as e:
            self.refuse(e)


def _pot(row: CylinderRow) -> Pot:
    record = row.round
    said = record.verdict.result.verdict if record and record.verdict else None
    kind = said.kind if said else ""
    words = "+".join(path_words(p) for p in said.paths) or kind if said else "round begun" if record else ""
    loss = f"loss {row.loss.si:.0f} %" if row.loss else ""
    glyph = cells.STATE_GLYPH.get(kind, "◌" if record else "·")
    return Pot(row.cylinder, loss, words, cells.PENS.get(kind, "dim"), glyph)


def _summary(rows: tuple[CylinderRow, ...], job: Job) -> str:
    unit = unit_named(job.pressure_unit)
    share = lowest_share(rows)
    parts = [f"Pressures in {unit}."]
    if share is not None:
        parts.append(f"Lowest dry reading is {cells.percent_of(share)} of the highest (rule of thumb: at least 75 %).")
    if job.troubles:
        parts.append(f"! {plain(job.troubles[-1])}")
    return " ".join(parts)
