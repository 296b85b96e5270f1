"""What can be done with a whole job from the list: its card, another test of the engine, packing, putting aside."""

import asyncio
from functools import partial
from pathlib import Path

from textual.binding import Binding

from listen.jobs.events import Payload
from listen.jobs.folder.store import Shelf, empty_trash, on_shelf, put_aside, take_back
from listen.jobs.folder.summary import JobSummary
from listen.voice import times
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.bridge.viewer import show_in_system
from tui.screens.base import made
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

    def action_more(self) -> None:
        job = self.chosen()
        options = [*(WITH_JOB if job else ()), *SHELVES]
        title = f"{plain(job.title, 50)}: what to do?" if job else "Jobs put aside"
        self.ask(PickScreen(title, options), self._do)

    def _do(self, what: str) -> None:
        job = self.chosen()
        if what in FROM:
            self._look(FROM[what])
        elif job is not None:
            acts = {"card": self._card, "again": self._again, "report": self._report, "pack": self._pack}
            acts |= {"folder": self._folder, **{name: partial(self._aside, name) for name in TO}}
            acts[what](job)

    def _path(self, job: JobSummary) -> Path:
        return self.bay.services.jobs_root() / job.folder

    def _card(self, job: JobSummary) -> None:
        from listen.jobs.folder.store import open_job

        with self.refusing():
            opened = open_job(self._path(job), bench=False)

            def keep(changes: tuple[Payload, ...] | None) -> None:
                with opened:
                    if changes:
                        with self.refusing():
                            opened.append(*changes)
                self.load()

            self.app.push_screen(made("card", opened.job), keep)

    def _again(self, job: JobSummary) -> None:
        from listen.jobs.events import DetailsGiven
        from listen.jobs.folder.store import create_job, open_job

        with open_job(self._path(job), write=False) as old:
            was = old.job
        with create_job(
            self.bay.services.jobs_root(),
            title=f"{was.title}, again",
            shop=was.shop,
            engine=was.engine,
            size=was.size,
            pressure_unit=was.pressure_unit,
            complaint=was.complaint,
            simulated=was.simulated,
        ) as new:
            if was.details:
                new.append(DetailsGiven(details=was.details))
            self.go_to = new.folder.name
        self.tell("A new job for the same engine stands on top; compare the two from its engine screen.")
        self.load()

    def _report(self, job: JobSummary) -> None:
        async def making() -> None:
            from listen.report.build import show, usual_place, write_report

            folder = self._path(job)
            to = usual_place(folder)
            self.tell("Making the report ...")
            try:
                to.parent.mkdir(parents=True, exist_ok=True)
                await in_thread(write_report, folder, to)
                opened = await in_thread(show, to)
            except OSError as e:
                self.tell(f"{to}: cannot be written: {e.strerror or e}", bad=True)
                return
            self.tell(f"{'Opened' if opened else 'Made'}: {to}")

        self.start(making, "report")

    def _pack(self, job: JobSummary) -> None:
        async def packing() -> None:
            from listen.jobs.exchange.pack import pack

            to = self.bay.services.jobs_root() / f"{job.folder}.zip"
            await asyncio.to_thread(pack, self._path(job), to)
            self.tell(f"Packed: {to}")

        self.start(packing, "pack")

    def _folder(self, job: JobSummary) -> None:
        show_in_system(self._path(job))

    def _aside(self, where: str, job: JobSummary) -> None:
        put_aside(self.bay.services.jobs_root(), job.folder, TO[where])
        self.tell(f"“{plain(job.title, 50)}” is in the {where}; o takes it back.")
        self.load()

    def _look(self, shelf: Shelf) -> None:
        there = on_shelf(self.bay.services.jobs_root(), shelf)
        where = next(name for name, place in TO.items() if place is shelf)
        if not there:
            self.tell(f"The {where} is empty.")
            return
        options = [(s.folder, s.title, f"{s.engine}, {times.day(s.changed)}") for s in there]
        if shelf is Shelf.TRASH:
            options.append((EMPTY, "Empty the trash", f"removes {len(there)} for good"))
        self.ask(PickScreen(f"Take which job back from the {where}?", options), partial(self._back, shelf))

    def _back(self, shelf: Shelf, name: str) -> None:
        if name == EMPTY:
            options = [(KEEP, "keep them", ""), (EMPTY, "remove them for good", "clips, journals, signatures")]
            self.ask(PickScreen("Remove every job in the trash for good?", options), self._emptied)
        else:
            take_back(self.bay.services.jobs_root(), name, shelf)
            self.load()

    def _emptied(self, answer: str) -> None:
        if answer == EMPTY:
            gone = empty_trash(self.bay.services.jobs_root())
            self.tell(f"{gone} job{'' if gone == 1 else 's'} removed for good.")
