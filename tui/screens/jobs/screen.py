"""Jobs: find one by any word, open it, or take a new one in."""

from collections.abc import Sequence

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Input

from listen.errors import JobError, JournalBroken
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import open_job
from listen.jobs.folder.witnesses import JobSummary
from listen.voice import times
from listen.voice.names import STATES
from listen.voice.text import plain
from tui.screens.base import asks, made
from tui.screens.jobs.more import JobsMore
from tui.widgets.field import Field

COLUMNS = (("Job", 0), ("Engine", 12), ("Rounds", 6), ("Waits for", 22), ("Changed", 16))
"""Heads and widths; the title takes what is left."""
EMPTY = """No jobs here yet.

Press n to begin one: a title and the engine are enough.
To try everything first without a microphone, leave (Ctrl+Q) and run: hissway demo"""


class JobsScreen(JobsMore):
    """The first screen: a table of jobs, newest first, with a line to find one."""

    TABLE, COLUMNS, EMPTY = "jobs", COLUMNS, EMPTY
    LEAST, GIVE_WAY = 24, ("Engine", "Changed", "Rounds")  # titles have to be told apart
    AUTO_FOCUS = "#jobs"
    BINDINGS = [
        Binding("n", "new", "New job"),
        Binding("w", "show('waiting')", "Waits"),
        Binding("slash", "find", "Find", key_display="/"),
        Binding("m", "show('microphone')", "Microphone"),
        Binding("l", "show('lab')", "Lab"),
        Binding("g", "show('hit-rate')", "Hit rate"),
        Binding("escape", "leave_find", "Back", show=False),
        Binding("q", "app.quit", "Quit"),
    ]

    _all: Sequence[JobSummary] = ()

    def body(self) -> ComposeResult:
        yield Field(
            placeholder="find: any word of a title, card, engine or state", id="find", classes="find", compact=True
        )
        yield from super().body()

    def on_mount(self) -> None:
        self.load()
        self.call_after_refresh(self._begin)

    def _begin(self) -> None:
        """A demo goes straight to its engine."""
        with self.refusing():
            if (folder := self.bay.services.prepare()) is not None:
                self.open(folder.name)

    def read(self, jobs: list[JobSummary]) -> None:
        """As they may be told to whoever sits here."""
        self._all = [self._as_told(s) for s in jobs]
        self.fill()

    def _as_told(self, s: JobSummary) -> JobSummary:
        """*Cannot tell* is the numbers' word: told to a tech, and to who has seen them, not to who may call blind."""
        sitting = self.bay.sitting
        seen = sitting.role == "tech" or any(sitting.has_seen(s.id, w.round_id) for w in s.waiting)
        return s if seen or s.state != "cannot-tell" else msgspec.structs.replace(s, state="to-confirm")

    def fill(self) -> None:
        words = self.query_one("#find", Input).value.casefold().split()
        found = [s for s in self._all if all(w in _haystack(s) for w in words)]
        widths = self.widths()
        empty = f"No job holds “{plain(' '.join(words), 40)}”. Escape shows all." if words else ""
        rows = {s.folder: _row(s, widths) for s in found}
        self.put(rows, widths, empty)

    def chosen(self) -> JobSummary | None:
        return next((s for s in self._all if s.folder == self.here()), None)

    def in_full(self, key: str) -> Content:
        return _about(next(s for s in self._all if s.folder == key))

    @on(Input.Changed, "#find")
    def _narrow(self) -> None:
        if self._all:
            self.fill()

    @on(Input.Submitted, "#find")
    def _found(self) -> None:
        self.query_one("#jobs").focus()

    def open(self, folder: str) -> None:
        path = self.bay.services.jobs_root() / folder
        with self.refusing():
            try:
                opened = open_job(path, bench=False)
            except JournalBroken:
                raise
            except JobError as e:
                opened = open_job(path, write=False)
                self.tell(f"{e}. Opened to read only.", bad=True)
            self.enter(opened)

    def enter(self, opened: OpenJob) -> None:
        self.bay.take(opened)
        self.show("engine")

    @asks
    async def action_new(self) -> None:
        if opened := await self.answer(made("new-job")):
            self.enter(opened)

    def action_find(self) -> None:
        self.query_one("#find").focus()

    def action_leave_find(self) -> None:
        """Show all again and go back to the table."""
        self.query_one("#find", Input).value = ""
        if self.query_one("#jobs").display:
            self.query_one("#jobs").focus()


def _haystack(s: JobSummary) -> str:
    found_by = (s.title, s.engine, s.shop, s.details, s.state, STATES.get(s.state, ""), times.moment(s.changed))
    return " ".join(found_by).casefold()


def _about(s: JobSummary) -> Content:
    state = f"! {s.trouble}" if s.trouble else STATES.get(s.state, s.state)
    back = ", ".join(str(w.cylinder) for w in s.waiting if w.why == "sent-back")
    state += f": cylinder {back}" if back and not s.trouble else ""
    rounds = f"{s.judged} of {s.rounds} rounds judged" if s.rounds else "no round yet"
    more = [plain(s.engine), plain(s.shop), rounds, state.removeprefix("· "), f"changed {times.moment(s.changed)}"]
    return Content.assemble((plain(s.title), "bold"), "\n", (" · ".join(m for m in more if m), "$secondary"))


def _row(s: JobSummary, widths: dict[str, int]) -> dict[str, str]:
    state = "! broken" if s.trouble else STATES.get(s.state, s.state)
    rounds = f"{s.judged}/{s.rounds}" if s.rounds else "–"
    return {
        "Job": plain(s.title, widths["Job"]),
        "Engine": plain(s.engine or "–", 12),
        "Rounds": rounds,
        "Waits for": state,
        "Changed": times.moment(s.changed),
    }
