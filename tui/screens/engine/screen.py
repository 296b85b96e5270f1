"""Engine: the drawing, the table one types into, and the way to each cylinder's round."""

from functools import partial
from textwrap import wrap

from rich.text import Text
from textual import events, on
from textual.content import Content
from textual.coordinate import Coordinate
from textual.widget import Widget
from textual.widgets import DataTable, Static

from listen.jobs.engine_case import dry_shares, loss_then
from listen.jobs.job import Job
from listen.jobs.standing import latest_round, standing
from listen.trade.cautions import Step
from listen.trade.units import unit_named
from listen.voice import figures, verdicts
from listen.voice.figures import as_read
from listen.voice.text import plain
from tui.content import fitting, shown
from tui.screens.base import asks
from tui.screens.engine import cells
from tui.screens.engine.keys import EngineKeys
from tui.screens.figures import figure_asked
from tui.widgets.engine_view import DrawnCylinder, EngineView

FULL_BANK, ROOM = 6, 9
"""Lines of a bank drawn in full, and lines needed besides banks and cylinders."""
DRAWN_FROM = 22
"""Lines of the screen from which there is room for the drawing; below, the table takes it, which is typed into."""
WIDE = 100
"""Columns from which the table's cells have a blank on both sides; else on one."""
STEPS: dict[str, tuple[Step, ...]] = {"dry": ("plugs-out", "cranking"), "wet": ("wet-test",)}
"""Steps whose cautions stand before the first figure of a column."""
LEAST_TABLE = 4
"""Lines of the table at least: its head and three cylinders."""
BESIDE = 3
"""Columns beside the table: its margins and a scroll bar."""


class EngineScreen(EngineKeys):
    """All cylinders of the open job."""

    HERE = "engine"
    CSS_PATH = "engine.tcss"
    BODY = (
        EngineView,
        partial(DataTable[Text], id="table", cursor_type="cell", zebra_stripes=False),
        partial(Static, id="here"),
        partial(Static, id="says"),
    )
    AUTO_FOCUS = "#table"

    def show_job(self, job: Job) -> None:
        cylinders = job.engine.cylinders
        view = self.query_one(EngineView)
        view.display = self.size.height >= DRAWN_FROM
        view.rows = job.engine.rows
        view.flat = len(cylinders) + len(job.engine.rows) * FULL_BANK > self.size.height - ROOM
        view.cylinders = {n: _drawn(n, job) for n in cylinders}
        self._fill(job)
        self._point()
        text = Content.assemble(
            *((f"{w}\n", "bold $accent") for w in [self.bay.services.welcome(job)] if w), _summary(job)
        )
        self.query_one("#says", Static).update(text)

    def _fill(self, job: Job) -> None:
        table: DataTable[Text] = self.query_one("#table", DataTable)
        # Filled anew, it forgets where one was.
        at = table.cursor_coordinate if table.row_count else Coordinate(0, 1)
        # With its columns: their widths belong to the screen's size and to what stands in them.
        table.clear(columns=True)
        wide = self.size.width >= WIDE
        table.cell_padding, gap = (1, 0) if wide else (0, 1)
        columns, cylinders = cells.columns_for(self.size.width), job.engine.cylinders
        room = self.size.width - BESIDE - (2 if wide else 1) * len(columns)
        widths = cells.widths(columns, room, [cells.plug_words(n, job) for n in cylinders])
        for column in columns:
            head = column.head.format(unit=job.pressure_unit)
            table.add_column(head, width=widths[column.id] + gap, key=column.id)
        for n in cylinders:
            words = cells.texts(n, job)
            words["verdict"] = fitting(cells.verdict_forms(n, job), widths["verdict"])
            table.add_row(*(_broken(words[c.id], widths[c.id], gap) for c in columns), height=None)
        # Held within: the engine may have been described with fewer cylinders meanwhile.
        table.move_cursor(row=min(at.row, len(cylinders) - 1), column=min(at.column, len(columns) - 1))

    def _fit(self) -> None:
        """The table scrolls before the words below it leave the screen."""
        if not self.query("#table"):  # called after a refresh: a quick Escape may have taken the screen down meanwhile
            return
        others = self.query("EngineView, #here, #says, TopBar, KeyBar").results(Widget)
        taken = sum(w.outer_size.height + w.styles.margin.height for w in others if w.display)
        table = self.query_one("#table", DataTable)
        table.styles.max_height = max(self.size.height - taken - table.styles.margin.height, LEAST_TABLE)

    on_resize = EngineKeys.show_again

    def cylinder(self) -> int:
        cylinders = self.job.engine.cylinders
        return cylinders[min(self.query_one("#table", DataTable).cursor_row, len(cylinders) - 1)]

    def _column(self) -> cells.Column:
        columns = cells.columns_for(self.size.width)
        return columns[min(self.query_one("#table", DataTable).cursor_column, len(columns) - 1)]

    def _point(self) -> None:
        """The cylinder one is on: marked in the drawing, told in full below the table."""
        here = self.cylinder()
        self.query_one(EngineView).chosen = here
        self.query_one("#here", Static).update(shown(cells.in_full(here, self.job)))
        self.call_after_refresh(self._fit)

    @on(DataTable.CellHighlighted)
    def _moved(self) -> None:
        self._point()

    @on(EngineView.Chosen)
    def _drawn_chosen(self, event: EngineView.Chosen) -> None:
        if event.number in self.job.engine.cylinders:
            self.query_one("#table", DataTable).move_cursor(row=self.job.engine.cylinders.index(event.number))

    @on(EngineView.Opened)
    def _drawn_opened(self) -> None:
        self.action_round()

    @on(DataTable.CellSelected)
    def _selected(self) -> None:
        column = self._column()
        if self.app.screen is not self:  # a key pressed after the click opened something: what it opens takes the keys
            return
        if column.typed:
            self._type("")
        elif column.id == "plug":
            self.action_plug()
        else:
            self.action_round()

    def take_key(self, event: events.Key) -> bool:
        """A digit on a figure's cell starts typing there."""
        if self.focused is self.query_one("#table") and (event.character or "").isdecimal():
            if self._column().typed:
                self._type(event.character or "")
            else:
                self.tell("Figures are typed into Dry, Wet and Loss: ← → go there.")
        else:
            return super().take_key(event)
        return True

    @asks
    async def _type(self, text: str) -> None:
        """The figure of the cell one is on, kept, and down to the next cylinder; nothing typed leaves it as it was."""
        column, cylinder = next(c for c in cells.COLUMNS if c.id == self._column().typed), self.cylinder()
        label = f"Cylinder {cylinder}, {column.head.format(unit=self.job.pressure_unit)}"
        if (ahead := await self.read_first(STEPS.get(column.id, ()))) is None:
            return
        event = await figure_asked(self, label, cells.READS[column.id], cylinder, begun=text + ahead)
        if event is not None:
            await self.keep(event, f"{label}: {as_read(event.value, event.unit)}")
            table = self.query_one("#table", DataTable)
            table.move_cursor(row=table.cursor_row + 1)


def _drawn(n: int, job: Job) -> DrawnCylinder:
    record, read = latest_round(job, n), job.reading("loss", n)
    kind = standing(record).kind if record else ""
    # Of another round than the verdict below it, the loss stands in the table alone, which says so.
    apart = record is not None and record.verdict is not None and loss_then(job, record) is not None
    loss = (f"loss {read.value:g} %", f"{read.value:g} %") if read and not apart else ("",)
    glyph = verdicts.GLYPHS.get(kind, "◌" if record else "·")
    return DrawnCylinder(n, loss, cells.standing_forms(record), cells.PENS.get(kind, "dim"), glyph)


def _broken(text: str, columns: int, gap: int) -> Text:
    """A cell's text, broken between words where it is too long for one line, with a blank behind it."""
    return Text("\n".join(f"{line}{' ' * gap}" for line in wrap(text, columns) or [""]), no_wrap=True)


def _summary(job: Job) -> str:
    unit, shares = unit_named(job.pressure_unit), dry_shares(job).values()
    read = any(job.reading(name, n) for name in cells.READS.values() for n in job.engine.cylinders)
    parts = [f"Pressures in {unit}.", *([] if read else ["Type a figure on a cell and press Enter; r begins a round."])]
    if len(shares) > 1:
        parts.append(
            f"Lowest dry reading is {figures.share(min(shares))} of the highest (rule of thumb: at least 75 %)."
        )
    if not job.symptoms_asked:
        parts.append("Symptoms not asked yet (s Facts).")
    elif not job.symptoms_of():
        parts.append("Symptoms asked: none.")
    if job.troubles:
        parts.append(f"! {plain(job.troubles[-1])}")
    return " ".join(parts)
