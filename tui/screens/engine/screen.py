"""Engine: the drawing, the table one types into, and the way to each cylinder's round."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text
from textual import events, on
from textual.app import ComposeResult
from textual.content import Content
from textual.coordinate import Coordinate
from textual.widgets import DataTable, Static

from listen.errors import HisswayError
from listen.jobs.table import CylinderRow, cylinder_rows, lowest_share
from listen.trade.units import unit_named
from tui.screens.engine import cells
from tui.screens.engine.keys import EngineKeys
from tui.screens.engine.type_line import TypeLine
from tui.widgets.engine_view import EngineView, Pot
from tui.words import path_words, plain

if TYPE_CHECKING:
    from listen.jobs.job import Job

FULL_BANK, ROOM = 6, 7
"""Lines of a bank drawn in full, and lines needed besides banks and cylinders."""
PADDING = 2 * len(cells.COLUMNS) + 2


class EngineScreen(EngineKeys):
    """All cylinders of the open job."""

    CSS_PATH = "engine.tcss"
    AUTO_FOCUS = "#table"

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
        view.flat = len(rows) + len(job.engine.rows) * FULL_BANK > self.size.height - ROOM
        view.pots = {row.cylinder: _pot(row) for row in rows}
        self._fill(rows, job)
        view.chosen = self.cylinder()
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

    def cylinder(self) -> int:
        """The cylinder under the cursor."""
        job = self.bay.job
        table = self.query_one("#table", DataTable)
        if job is None:
            return 0
        return job.engine.cylinders[min(table.cursor_row, len(job.engine.cylinders) - 1)]

    def _column(self) -> cells.Column:
        return cells.COLUMNS[min(self.query_one("#table", DataTable).cursor_column, len(cells.COLUMNS) - 1)]

    @on(DataTable.CellHighlighted)
    def _moved(self) -> None:
        self.query_one(EngineView).chosen = self.cylinder()

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
            self.query_one(TypeLine).begin(self._column(), self.cylinder(), self.bay.job, text)

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
