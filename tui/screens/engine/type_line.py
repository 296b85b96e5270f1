"""The line one types a figure into: validates it and asks about a doubtful one."""

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.events import Payload
from listen.jobs.job import Job
from listen.jobs.typed import typed
from tui.content import shown
from tui.screens.engine import cells
from tui.widgets.field import Field


class TypeLine(Horizontal):
    """Hidden until something is typed."""

    def __init__(self) -> None:
        super().__init__(id="edit")
        self.display = False
        self._column, self._cylinder = "", 0
        self._job: Job | None = None
        self._doubted: tuple[str, Payload] | None = None
        """What was typed, and the figure it would be, where a second Enter is asked for."""
        self.meant = ""
        """What was probably meant instead; y takes it."""
        self.label = ""

    def compose(self) -> ComposeResult:
        yield Static(id="edit-label")
        yield Field(id="figure", compact=True, max_length=16)
        yield Static(id="edit-remark")

    def begin(self, column: cells.Column, cylinder: int, job: Job, text: str) -> None:
        """Show the line for one cell, with what was typed already."""
        self._column, self._cylinder, self._job = column.id, cylinder, job
        self._doubted, self.meant = None, ""
        self.label = f"Cylinder {cylinder}, {column.head.format(unit=job.pressure_unit)}:"
        self.query_one("#edit-label", Static).update(shown(self.label))
        self.query_one("#edit-remark", Static).update(shown("Enter keeps it and goes on", "$secondary"))
        self.display = True
        self._field.value, self._field.figure = text, True
        self._field.cursor_position = len(text)
        self._field.select_on_focus = False
        self.screen.set_focus(self._field)  # at once: the next key may be here already

    def end(self) -> None:
        self._doubted, self.meant, self.display = None, "", False

    def remark(self, text: str) -> None:
        self.query_one("#edit-remark", Static).update(shown(text, "bold $warning"))

    @property
    def is_open(self) -> bool:
        return self.display and self.screen.focused is self._field

    @property
    def text(self) -> str:
        return self._field.value.strip()

    def offer(self) -> Payload | None:
        """The figure typed, if it may be kept; else the line says what is wrong or asked."""
        assert self._job is not None
        if self._doubted is not None and self._doubted[0] == self.text:
            return self._doubted[1]
        self._doubted, self.meant = None, ""
        try:
            read = typed(cells.READS[self._column], self.text, self._job, self._cylinder)
        except HisswayError as e:
            self.remark(f"! {e}")
            return None
        if read.questions:
            self._doubted, self.meant = (self.text, read.event), read.questions[0].suggestion
            yes = f"y takes {self.meant}, " if self.meant else ""
            self.remark(f"? {read.questions[0].text} {yes}Enter again keeps {self.text}.")
            return None
        return read.event

    def accept(self) -> None:
        """Yes, what was suggested was meant."""
        self._field.value, self._doubted, self.meant = self.meant, None, ""

    @property
    def _field(self) -> Field:
        return self.query_one("#figure", Field)
