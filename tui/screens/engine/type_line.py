"""The line one types a figure into: validates it, asks about a doubtful one, and hands the event up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.message import Message
from textual.widgets import Input, Static

from listen.errors import HisswayError
from listen.jobs.events import Payload, ReadingEntered
from tui.screens.engine import cells
from tui.widgets.field import Field
from tui.words import shown

if TYPE_CHECKING:
    from listen.jobs.job import Job


class TypeLine(Horizontal):
    """Hidden until something is typed."""

    class Typed(Message):
        """A figure that may be kept."""

        def __init__(self, payload: Payload) -> None:
            self.payload = payload
            super().__init__()

    class Left(Message):
        """Nothing was typed."""

    def __init__(self) -> None:
        super().__init__(id="edit")
        self.display = False
        self._column, self._cylinder = "", 0
        self._job: Job | None = None
        self._doubted: Payload | None = None

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
        field = self.query_one("#figure", Input)
        self.display = True
        field.value = text
        field.cursor_position = len(text)
        field.select_on_focus = False
        field.focus()

    def end(self) -> None:
        """Hide it."""
        self._doubted, self.display = None, False

    def remark(self, text: str) -> None:
        """Say what is wrong or doubtful."""
        self.query_one("#edit-remark", Static).update(shown(text, "bold $warning"))

    @on(Input.Changed)
    def _changed(self, event: Input.Changed) -> None:
        event.stop()
        self._doubted = None

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        event.stop()
        if not event.value.strip() or self._job is None:
            self.end()
            self.post_message(self.Left())
            return
        if self._doubted is not None:
            self.post_message(self.Typed(self._doubted))
            return
        try:
            payload, doubts = cells.keep(self._column, event.value, self._cylinder, self._job)
        except HisswayError as e:
            self.remark(f"! {e}")
            return
        if doubts:
            self._doubted = _confirmed(payload, tuple(d.id for d in doubts))
            self.remark(f"? {doubts[0].text} Enter again keeps it as typed.")
            return
        self.post_message(self.Typed(payload))


def _confirmed(payload: Payload, doubts: tuple[str, ...]) -> Payload:
    assert isinstance(payload, ReadingEntered)
    return msgspec.structs.replace(payload, confirmed=doubts)
