"""What can be done with a whole job from the list: its card, another test of the engine, packing, putting aside."""

from pathlib import Path

from textual.binding import Binding

from listen.jobs.events import DetailsGiven
from listen.jobs.folder.store import Shelf, create_job, empty_trash, list_jobs, move_job, open_job
from listen.jobs.folder.witnesses import JobSummary
from listen.same_fields import same_fields
from listen.voice import times
from listen.voice.figures import counted
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.bridge.viewer import show_in_system
from tui.screens.base import asks, in_background, made
from tui.screens.dialog import PickScreen
from tui.screens.job_table import JobTable

Option = tuple[str, str, str]
WITH_JOB: tuple[Option, ...] = (
    ("card", "Job card", "title, complaint, customer, registration ..."),
    ("again", "Test this engine again", "a new job with the same engine and card, to compare before and after"),
    ("report", "Report for owner and shop", "made among your documents and opened"),
    ("pack", "Pack for another machine", "a zip beside the jobs that unpack checks and opens"),
    ("folder", "Open its folder", "in the system's own window"),
    ("archive", "Archive this job", "out of the list, not out of reach"),
    ("trash", "Discard this job", "to the trash; removed for good only when the trash is emptied"),
)
SHELVES: tuple[Option, ...] = (
    ("from-archive", "Look into the archive", "take a job back"),
    ("from-trash", "See the trash", "take a job back, or empty it"),
)
TO = {"archive": Shelf.ARCHIVE, "trash": Shelf.TRASH}
FROM = {f"from-{name}": shelf for name, shelf in TO.items()}
EMPTY, KEEP = "empty", "keep"


class JobsMore(JobTable):
    """The part of the list of jobs that asks what to do with one; the rest says which and reads the list again."""

    BINDINGS = [Binding("o", "more", "More")]

    def chosen(self) -> JobSummary | None:
        raise NotImplementedError

    @asks
    async def action_more(self) -> None:
        job = self.chosen()
        options = [*(WITH_JOB if job else ()), *SHELVES]
        title = f"{plain(job.title, 50)}: what to do?" if job else "Jobs put aside"
        what = await self.answer(PickScreen(title, options))
        if what in FROM:
            await self._look(FROM[what])
        elif what == "card" and job:
            await self._card(job)
        elif what in TO and job:
            self._aside(what, job)
        elif what and job:
            {"again": self._again, "report": self._report, "pack": self._pack, "folder": self._folder}[what](job)

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

    def _folder(self, job: JobSummary) -> None:
        show_in_system(self._path(job))

    def _aside(self, where: str, job: JobSummary) -> None:
        move_job(self._path(job), self.bay.services.jobs_root() / TO[where])
        self.tell(f"“{plain(job.title, 50)}” is in the {where}; o takes it back.")
        self.load()

    async def _look(self, shelf: Shelf) -> None:
        root = self.bay.services.jobs_root()
        there = list_jobs(root / shelf)
        where = next(name for name, place in TO.items() if place is shelf)
        if not there:
            self.tell(f"The {where} is empty.")
            return
        options = [(s.folder, s.title, f"{s.engine}, {times.day(s.changed)}") for s in there]
        if shelf is Shelf.TRASH:
            options.append((EMPTY, "Empty the trash", f"removes {len(there)} for good"))
        name = await self.answer(PickScreen(f"Take which job back from the {where}?", options))
        if name == EMPTY:
            options = [(KEEP, "keep them", ""), (EMPTY, "remove them for good", "clips, journals, signatures")]
            if await self.answer(PickScreen("Remove every job in the trash for good?", options)) == EMPTY:
                gone = empty_trash(root)
                self.tell(f"{counted(gone, 'job')} removed for good.")
        elif name is not None:
            move_job(root / shelf / name, root)
            self.load()
