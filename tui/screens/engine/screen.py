"""Engine: the drawing, the table one types into, and the way to each cylinder's round."""

from functools import partial

from textual import events, on
from textual.binding import Binding
from textual.content import Content
from textual.widget import Widget
from textual.widgets import DataTable, Static

from listen.jobs.engine_case import loss_then
from listen.jobs.events import CautionAcknowledged, FindingRecorded, JobNamed, Payload, PlugSeen
from listen.jobs.folder.open_job import new_round
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import latest_round, standing
from listen.trade.cautions import Step, cautions_for
from listen.trade.facts import plugs
from listen.trade.units import KPA_PER
from listen.voice import names, verdicts
from listen.voice.figures import as_read
from tui.content import shown
from tui.screens.ask_before_change import rounds_touched, write_asking
from tui.screens.base import BayScreen, asks
from tui.screens.cautions import CautionScreen
from tui.screens.dialog import TickScreen
from tui.screens.engine import cells
from tui.screens.engine.table import COLUMNS, EngineTable
from tui.screens.figures import figure_asked
from tui.widgets.engine_view import DrawnCylinder, EngineView
from tui.widgets.odds import PENS

FULL_BANK, ROOM = 6, 9
"""Lines of a bank drawn in full, and lines needed besides banks and cylinders."""
DRAWN_FROM = 22
"""Lines of the screen from which there is room for the drawing; below, the table takes it, which is typed into."""
LEAST_TABLE = 4
"""Lines of the table at least: its head and three cylinders."""
AGAIN = [("y", "yes, to do it over", ""), ("n", "no", "leave it as it is")]


class EngineScreen(BayScreen[None]):
    """All cylinders of the open job."""

    HERE, SHOWS_NUMBERS = "engine", "job"
    CSS_PATH = "engine.tcss"
    BODY = (EngineView, EngineTable, partial(Static, id="here"), partial(Static, id="says"))
    AUTO_FOCUS = "#table"
    BINDINGS = [
        Binding("r", "round", "Round"),
        Binding("o", "show('page')", "Page"),
        Binding("p", "plug", "Plug"),
        Binding("c", "confirm", "Confirm"),
        Binding("b", "show('compare')", "Compare"),
        Binding("d", "show('diagnosis')", "Diagnosis"),
        Binding("s", "show('facts')", "Facts"),
        Binding("f", "finding", "Teardown"),
        Binding("j", "show('job')", "Job"),
        Binding("P", "show('photos')", "Photos", key_display="P"),
        Binding("R", "new_round", "Again", key_display="R"),
        Binding("a", "show('cautions')", "Cautions"),
        Binding("u", "units", "Units"),
        Binding("n", "note", "Note on this cylinder", show=False),
        Binding("tab", "app.focus_next", "Drawing or table", show=False),
    ]

    def show_job(self, job: Job) -> None:
        cylinders = job.engine.cylinders
        view = self.query_one(EngineView)
        view.display = self.size.height >= DRAWN_FROM
        view.rows = job.engine.rows
        view.flat = len(cylinders) + len(job.engine.rows) * FULL_BANK > self.size.height - ROOM
        view.cylinders = {n: _drawn(n, job) for n in cylinders}
        self.query_one(EngineTable).fill(job)
        self._point()
        text = Content.assemble(
            *((f"{w}\n", "bold $accent") for w in [self.bay.services.welcome(job)] if w), cells.summary(job)
        )
        self.query_one("#says", Static).update(text)

    def _fit(self) -> None:
        """The table scrolls before the words below it leave the screen."""
        if not self.query("#table"):  # called after a refresh: a quick Escape may have taken the screen down meanwhile
            return
        others = self.query("EngineView, #here, #says, TopBar, KeyBar").results(Widget)
        taken = sum(w.outer_size.height + w.styles.margin.height for w in others if w.display)
        table = self.query_one(EngineTable)
        table.styles.max_height = max(self.size.height - taken - table.styles.margin.height, LEAST_TABLE)

    on_resize = BayScreen.show_again

    def cylinder(self) -> int:
        cylinders = self.job.engine.cylinders
        return cylinders[min(self.query_one(EngineTable).cursor_row, len(cylinders) - 1)]

    @on(DataTable.CellHighlighted)
    def _point(self) -> None:
        """The cylinder one is on: marked in the drawing, told in full below the table."""
        here = self.cylinder()
        self.query_one(EngineView).chosen = here
        self.query_one("#here", Static).update(shown(cells.in_full(here, self.job)))
        self.call_after_refresh(self._fit)

    @on(EngineView.Chosen)
    def _drawn_chosen(self, event: EngineView.Chosen) -> None:
        if event.opened:
            self.action_round()
        elif event.number in self.job.engine.cylinders:
            self.query_one(EngineTable).move_cursor(row=self.job.engine.cylinders.index(event.number))

    @on(DataTable.CellSelected)
    def _selected(self) -> None:
        column = self.query_one(EngineTable).column
        if self.app.screen is not self:  # a key pressed after the click opened something: what it opens takes the keys
            return
        if column.typed:
            self._type("")
        elif column.id == "plug":
            self.action_plug()
        else:
            self.action_round()

    def take_key(self, event: events.Key) -> bool:
        table = self.query_one(EngineTable)
        if self.focused is not table or not (event.character or "").isdecimal():
            return super().take_key(event)
        if table.column.typed:
            self._type(event.character or "")
        else:
            self.tell("Figures are typed into Dry, Wet and Loss: ← → go there.")
        return True

    @asks
    async def _type(self, text: str) -> None:
        """The figure of the cell one is on, kept, and down to the next cylinder; nothing typed leaves it as it was."""
        table, cylinder = self.query_one(EngineTable), self.cylinder()
        column = next(c for c in COLUMNS if c.id == table.column.typed)
        label = f"Cylinder {cylinder}, {column.head.format(unit=self.job.pressure_unit)}"
        if (ahead := await self.read_first(column.steps)) is None:
            return
        event = await figure_asked(self, label, cells.READS[column.id], cylinder, begun=text + ahead)
        if event is not None:
            await self.keep(event, f"{label}: {as_read(event.value, event.unit)}")
            table.move_cursor(row=table.cursor_row + 1)

    def about(self, name: str) -> tuple[object, ...]:
        """The cylinder one is on, for what is about one."""
        return (self.cylinder(),) if name in ("page", "photos") else ()

    def action_round(self) -> None:
        if rounds := self._rounds():
            self.show("round", rounds[-1].id)
        else:
            self._begin()

    def _rounds(self) -> list[RoundRecord]:
        """Rounds of this cylinder that were not set aside."""
        return [r for r in self.job.rounds_of(self.cylinder()) if not r.aside]

    @asks
    async def action_new_round(self) -> None:
        """Begin a round on this cylinder; where there is one already, only after a yes."""
        title = (
            f"Begin another round on cylinder {self.cylinder()}? The present one stays on the cylinder's page. After a "
            "repair take the engine in anew instead (o on the list of jobs): then before and after are compared."
        )
        if not self._rounds() or await self.pick(title, AGAIN, keyed=True) == "y":
            self._begin()

    def _begin(self) -> None:
        begun = new_round(self.cylinder())
        if self.write(begun):
            self.show("round", begun.round_id)

    @asks
    async def action_plug(self) -> None:
        cylinder = self.cylinder()
        if await self.read_first(("plugs-out", "cranking")) is None:
            return
        seen, options = self.job.plugs.get(cylinder), [(p.id, p.words, p.look) for p in plugs()]
        title = f"Plug of cylinder {cylinder}: one look or several"
        if looks := await self.answer(TickScreen(title, options, seen.conditions if seen else ())):
            what = f"Plug of cylinder {cylinder}: {names.plug_looks(looks)}"
            await self.keep(PlugSeen(cylinder=cylinder, conditions=looks), what)

    @asks
    async def action_finding(self) -> None:
        cylinder, job = self.cylinder(), self.job
        found, by = job.findings.get(cylinder), job.people.get("tech", "")
        title = f"Teardown finding on cylinder {cylinder}: what was it really?"
        dialog = TickScreen(title, cells.finding_choices(job.engine), found.paths if found else ())
        if paths := await self.answer(dialog):
            self.write(FindingRecorded(cylinder=cylinder, paths=paths, found_by=by))

    def action_confirm(self) -> None:
        record = latest_round(self.job, self.cylinder())
        if record is not None and record.verdict is not None:
            self.show("confirm", record.id)
        else:
            self.tell("This cylinder's round has no verdict yet: nothing to confirm.")

    @asks
    async def action_units(self) -> None:
        """Tell pressures in another unit from now on; every reading stays as it was entered."""
        now, options = self.job.pressure_unit, [(str(unit), str(unit)) for unit in KPA_PER]
        title = "Pressures in which unit? Readings stay as they were entered."
        unit = await self.pick(title, options, now)
        if unit not in (None, now):
            self.write(JobNamed(pressure_unit=unit))

    def action_note(self) -> None:
        self.write_note(f"cylinder {self.cylinder()}", self.cylinder(), None)

    async def read_first(self, steps: tuple[Step, ...]) -> str | None:
        """Have the cautions of steps read and acknowledged, once a job: what was typed meanwhile, None where left."""
        name = "+".join(steps)
        if not steps or name in self.job.cautions:
            return ""
        typed = await self.answer(CautionScreen(cautions_for(*steps), "Before this: read these and say so"))
        return typed if typed is not None and self.write(CautionAcknowledged(caution=name)) else None

    async def keep(self, payload: Payload, what: str) -> None:
        """Write an event about this cylinder, after asking where a verdict or a signature rests on it."""
        await write_asking(self, rounds_touched(self.job, None, self.cylinder()), what, payload)


def _drawn(n: int, job: Job) -> DrawnCylinder:
    record, read = latest_round(job, n), job.reading("loss", n)
    kind = standing(record).kind if record else ""
    # Of another round than the verdict below it, the loss stands in the table alone, which says so.
    apart = record is not None and record.verdict is not None and loss_then(job, record) is not None
    loss = (f"loss {read.value:g} %", f"{read.value:g} %") if read and not apart else ("",)
    glyph = verdicts.GLYPHS.get(kind, "◌" if record else "·")
    return DrawnCylinder(n, loss, cells.standing_forms(record), PENS.get(kind, "dim"), glyph)
