"""Jobs: find one by any word, open it or take a new one in; and what can be done with a whole job."""

from collections.abc import Sequence
from pathlib import Path

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Input

from listen.errors import JobError, JournalBroken
from listen.jobs.events import DetailsGiven
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import Shelf, create_job, empty_trash, list_jobs, move_job, open_job
from listen.jobs.folder.witnesses import JobSummary
from listen.same_fields import same_fields
from listen.voice import times
from listen.voice.figures import counted
from listen.voice.names import STATES
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.bridge.viewer import show_in_system
from tui.screens.base import asks, in_background, made
from tui.screens.job_table import JobTable
from tui.widgets.field import Field

EMPTY = """No jobs here yet.

Press n to begin one: a title and the engine are enough.
To try everything first without a microphone, leave (Ctrl+Q) and run: hissway demo"""

WITH_JOB = (
    ("card", "Job card", "title, complaint, customer, registration ..."),
    ("again", "Test this engine again", "a new job with the same engine and card, to compare before and after"),
    ("report", "Report for owner and shop", "made among your documents and opened"),
    ("pack", "Pack for another machine", "a zip beside the jobs that unpack checks and opens"),
    ("folder", "Open its folder", "in the system's own window"),
    ("archive", "Archive this job", "out of the list, not out of reach"),
    ("trash", "Discard this job", "to the trash; removed for good only when the trash is emptied"),
)
FROM = "from-"
SHELVES = (
    (f"{FROM}archive", "Look into the archive", "take a job back"),
    (f"{FROM}trash", "See the trash", "take a job back, or empty it"),
)
SHELF = {"archive": Shelf.ARCHIVE, "trash": Shelf.TRASH}
EMPTY_IT = "empty"
FOR_GOOD = [("keep", "keep them", ""), (EMPTY_IT, "remove them for good", "clips, journals, signatures")]


class JobsScreen(JobTable):
    """The first screen: a table of jobs, newest first, with a line to find one."""

    TABLE, EMPTY = "jobs", EMPTY
    COLUMNS = (("Job", 0), ("Engine", 12), ("Rounds", 6), ("Waits for", 22), ("Changed", 16))
    LEAST, GIVE_WAY = 24, ("Engine", "Changed", "Rounds")  # titles have to be told apart
    AUTO_FOCUS = "#jobs"
    BINDINGS = [
        Binding("o", "more", "More"),
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
        empty = f"No job holds “{plain(' '.join(words), 40)}”. Escape shows all." if words else ""
        self.put({s.folder: _row(s) for s in self._all if all(w in _haystack(s) for w in words)}, empty)

    def in_full(self, key: str) -> Content:
        s = next(s for s in self._all if s.folder == key)
        state = f"! {s.trouble}" if s.trouble else STATES.get(s.state, s.state)
        back = ", ".join(str(w.cylinder) for w in s.waiting if w.why == "sent-back")
        state += f": cylinder {back}" if back and not s.trouble else ""
        rounds = f"{s.judged} of {s.rounds} rounds judged" if s.rounds else "no round yet"
        more = [plain(s.engine), plain(s.shop), rounds, state.removeprefix("· "), f"changed {times.moment(s.changed)}"]
        return Content.assemble((plain(s.title), "bold"), "\n", (" · ".join(m for m in more if m), "$secondary"))

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
        self.query_one("#find", Input).value = ""
        if self.query_one("#jobs").display:
            self.query_one("#jobs").focus()

    @asks
    async def action_more(self) -> None:
        job = next((s for s in self._all if s.folder == self.here()), None)
        title = f"{plain(job.title, 50)}: what to do?" if job else "Jobs put aside"
        what = await self.pick(title, [*(WITH_JOB if job else ()), *SHELVES]) or ""
        if what.startswith(FROM):
            await self._look(what.removeprefix(FROM))
        elif what in SHELF and job:
            self._aside(what, job)
        elif what == "card" and job:
            await self._card(job)
        elif what == "folder" and job:
            show_in_system(self._path(job))
        elif what and job:
            {"again": self._again, "report": self._report, "pack": self._pack}[what](job)

    def _path(self, job: JobSummary) -> Path:
        return self.bay.services.jobs_root() / job.folder

    async def _card(self, job: JobSummary) -> None:
        with open_job(self._path(job), bench=False) as opened:
            if changes := await self.answer(made("card", opened.job)):
                opened.append(*changes)
        self.load()

    def _again(self, job: JobSummary) -> None:
        with open_job(self._path(job), write=False) as old:
            was = old.job
        kept = same_fields(was, "shop", "engine", "size", "pressure_unit", "complaint", "simulated")
        with create_job(self.bay.services.jobs_root(), title=f"{was.title}, again", **kept) as new:
            if was.details:
                new.append(DetailsGiven(details=was.details))
            self.go_to = new.folder.name
        self.tell("A new job for the same engine stands on top; compare the two from its engine screen.")
        self.load()

    @in_background("report")
    async def _report(self, job: JobSummary) -> None:
        from listen.report.build import show, usual_place, write_report

        folder = self._path(job)
        to = usual_place(folder)
        self.tell("Making the report ...")
        try:
            to.parent.mkdir(parents=True, exist_ok=True)
            await in_thread(write_report, folder, to)
            self.whole_job_shown((await in_thread(open_job, folder, write=False)).job)
            opened = await in_thread(show, to)
        except OSError as e:
            self.tell(f"{to}: cannot be written: {e.strerror or e}", bad=True)
            return
        self.tell(f"{'Opened' if opened else 'Made'}: {to}")

    @in_background("pack")
    async def _pack(self, job: JobSummary) -> None:
        from listen.jobs.exchange.pack import pack

        to = self.bay.services.jobs_root() / f"{job.folder}.zip"
        await in_thread(pack, self._path(job), to)
        self.tell(f"Packed: {to}")

    def _aside(self, where: str, job: JobSummary) -> None:
        move_job(self._path(job), self.bay.services.jobs_root() / SHELF[where])
        self.tell(f"“{plain(job.title, 50)}” is in the {where}; o takes it back.")
        self.load()

    async def _look(self, where: str) -> None:
        """Have a job taken back from where it was put aside, or the trash emptied."""
        root, shelf = self.bay.services.jobs_root(), SHELF[where]
        if not (there := list_jobs(root / shelf)):
            self.tell(f"The {where} is empty.")
            return
        options = [(s.folder, s.title, f"{s.engine}, {times.day(s.changed)}") for s in there]
        if shelf is Shelf.TRASH:
            options.append((EMPTY_IT, "Empty the trash", f"removes {len(there)} for good"))
        name = await self.pick(f"Take which job back from the {where}?", options)
        if name == EMPTY_IT:
            if await self.pick("Remove every job in the trash for good?", FOR_GOOD) == EMPTY_IT:
                self.tell(f"{counted(empty_trash(root), 'job')} removed for good.")
        elif name is not None:
            move_job(root / shelf / name, root)
            self.load()


def _haystack(s: JobSummary) -> str:
    found_by = (s.title, s.engine, s.shop, s.details, s.state, STATES.get(s.state, ""), times.moment(s.changed))
    return " ".join(found_by).casefold()


def _row(s: JobSummary) -> tuple[str, ...]:
    state = "! broken" if s.trouble else STATES.get(s.state, s.state)
    rounds = f"{s.judged}/{s.rounds}" if s.rounds else "–"
    return plain(s.title), plain(s.engine or "–"), rounds, state, times.moment(s.changed)
