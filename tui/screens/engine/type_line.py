"""The line one types a figure into: validates it and asks about a doubtful one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.events import Payload, ReadingEntered
from tui.screens.engine import cells
from tui.widgets.field import Field
from tui.words import shown

if TYPE_CHECKING:
    from listen.jobs.job import Job


class TypeLine(Horizontal):
    """Hidden until something is typed."""

    def __init__(self) -> None:
        super().__init__(id="edit")
        self.display = False
        self._column, self._cylinder = "", 0
        self._job: Job | None = None
        self._doubted: tuple[str, Payload] | None = None
        """What was typed, and the figure it would be, where a second Enter is asked for."""

    def compose(self) -> ComposeResult:
        """Label, field, remark."""
        yield Static(id="edit-label")
        yield Field(id="figure", compact=True, max_length=16)
        yield Static(id="edit-remark")

    def begin(self, column: cells.Column, cylinder: int, job: Job, text: str) -> None:
        """Show the line for one cell, with what was typed already."""
        self._column, self._cylinder, self._job, self._doubted = column.id, cylinder, job, None
        self.query_one("#edit-label", Static).update(
            shown(f"cylinder {cylinder}, {column.head.format(unit=job.pressure_unit)}:")
        )
        self.query_one("#edit-remark", Static).update(shown("Enter keeps it and goes on", "$secondary"))
        self.display = True
        self._field.value = text
        self._field.cursor_position = len(text)
        self._field.select_on_focus = False
        self.screen.set_focus(self._field)  # at once: the next key may be here already

    def end(self) -> None:
        """Hide it."""
        self._doubted, self.display = None, False

    def remark(self, text: str) -> None:
        """Say what is wrong or doubtful."""
        self.query_one("#edit-remark", Static).update(shown(text, "bold $warning"))

    def take(self, event: events.Key) -> bool:
        """A key typed into the open line; False for one that is not for it."""
        return self.is_open and self._field.take(event)

    @property
    def is_open(self) -> bool:
        """Whether figures are being typed here."""
        return self.display and self.screen.focused is self._field

    @property
    def text(self) -> str:
        """What stands in the line, without blanks around it."""
        return self._field.value.strip()

    def offer(self) -> Payload | None:
        """The figure typed, if it may be kept; else the line says what is wrong or asked."""
        assert self._job is not None
        if self._doubted is not None and self._doubted[0] == self.text:
            return self._doubted[1]
        self._doubted = None
        try:
            payload, doubts = cells.keep(self._column, self.text, self._cylinder, self._job)
        except HisswayError as e:
            self.remark(f"! {e}")
            return None
        if doubts:
            self._doubted = self.text, _confirmed(payload, tuple(d.id for d in doubts))
            self.remark(f"? {doubts[0].text} Enter again keeps it as typed.")
            return None
        return payload

    @property
    def _field(self) -> Field:
        return self.query_one("#figure", Field)


def _confirmed(payload: Payload, doubts: tuple[str, ...]) -> Payload:
    assert isinstance(payload, ReadingEntered)
    return msgspec.structs.replace(payload, confirmed=doubts)
