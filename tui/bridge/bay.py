"""What screens may ask of the application: the open job, what was made for it, and the writing of events."""

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import msgspec
from textual.app import App
from textual.reactive import reactive

from listen.errors import HisswayError
from listen.jobs.events import NumbersShown, Payload
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.hearing import Sitting, numbers_seen, same_person
from listen.jobs.job import Job
from listen.voice.text import plain
from tui.bridge.preferences import load, save
from tui.bridge.services import Services

T = TypeVar("T")

WAIT_S = 0.3
"""Longest the screen stands still for a write: a sound disk syncs in a few milliseconds, a busy one in some tens."""


class JournalWriter:
    """What is handed in is done in order, one thing at a time, whatever the disk takes for it."""

    def __init__(self) -> None:
        # One worker: what is handed in second is written second.
        self._thread = ThreadPoolExecutor(1, "journal")
        self._last: Future[Any] | None = None

    @property
    def busy(self) -> bool:
        """Whether something is not on the disk yet."""
        return self._last is not None and not self._last.done()

    def hand_in(self, work: Callable[[], T]) -> Future[T]:
        """Do this after all that was handed in before."""
        self._last = future = self._thread.submit(work)
        return future

    def close(self) -> None:
        """Wait until all is on the disk."""
        self._thread.shutdown()


class Bay(App[None]):
    """The application as its screens know it: holds one immutable job, and has events written."""

    job: reactive[Job | None] = reactive["Job | None"](None)
    """The job that is open; every screen shows this one value."""

    def __init__(self, jobs: Path | None = None, *, services: Services | None = None) -> None:
        super().__init__()
        self.services = services or Services(jobs)
        self.open_job: OpenJob | None = None
        self.sitting = Sitting()
        """Who sits here, and what was shown and played to them."""
        self.headphones_checked: dict[str, bool | None] = {}
        """Learners whose headphones were checked since the program was started."""
        self.preferences = load(self.services.preferences_path())
        self._kept = True
        """Whether the disk took the preferences when they were last changed."""
        self.journal = JournalWriter()
        """All that writes to the open job goes through it; while it is busy the disk has not taken what is shown."""

    def tell(self, text: object, *, bad: bool = False) -> None:
        """A short message in the corner; longer there where it is bad."""
        self.notify(plain(text), severity="error" if bad else "information", markup=False, timeout=8 if bad else 4)

    def prefer(self, **changes: Any) -> None:
        self.preferences = msgspec.structs.replace(self.preferences, **changes)
        kept, self._kept = self._kept, save(path := self.services.preferences_path(), self.preferences)
        if kept and not self._kept:  # told once, not with every take
            self.tell(f"{path}: cannot be written; what was chosen holds until Hissway is left.", bad=True)

    def take(self, opened: OpenJob) -> None:
        """Make a job the open one; the one before is closed."""
        self.put_away()
        self.open_job = opened
        opened.actor = self.sitting.name or opened.job.people.get("tech", "")
        self.job = opened.job

    def put_away(self) -> None:
        self._tell_what_was_shown()
        if self.open_job is not None and self.journal.busy:
            # Closing waits its turn as well: a screen never waits for a slow disk.
            self.journal.hand_in(self.open_job.close)
        elif self.open_job is not None:
            self.open_job.close()
        self.open_job, self.job = None, None

    def _tell_what_was_shown(self) -> None:
        """Numbers seen for the first time go into the journal with whoever saw them, though they wrote nothing.

        Else whoever looked, left and came back under the same name would be taken to hear the round blind.
        """
        if self.open_job is None or self.job is None or not self.open_job.writable or self.open_job.broken:
            return
        shown = (p for p in self.sitting.due(self.job.id) if isinstance(p, NumbersShown))
        seen = {r.id for r in self.job.rounds if numbers_seen(r, self.sitting.name, self.sitting.id)}
        if any(not seen.issuperset(p.rounds) for p in shown):
            with suppress(HisswayError):  # a disk that refuses costs the account, and the job is left all the same
                self.write()

    def write(self, *events: Payload) -> None:
        """Append events to the open job's journal, then show the job as it is now.

        Raises what the journal raises: :class:`JobError` where it cannot be written.

        On a slow disk the job is shown as it will be, the top line says that it is still being written, and what the
        disk refuses is told when it does.
        """
        assert self.open_job is not None and self.job is not None
        opened, due = self.open_job, self.sitting.due(self.open_job.job.id)
        written = self.journal.hand_in(partial(opened.append, *due, *events, known=opened.job))
        # Before the disk has it: what is written next must not tell it again. Refused, it is due again.
        self.sitting.job_knows(opened.job.id)
        try:
            self.job = written.result(WAIT_S)
        # Only the wait is over: the write goes on, and the screen with it.
        except TimeoutError:
            self.job = opened.foreseen(self.job, *due, *events)
            self.run_worker(self._watched(opened, written, due), group="journal")
        except BaseException:
            self.sitting.job_missed(opened.job.id, due)
            self.job = opened.job  # also where something came in that had not been seen
            raise

    async def written(self, work: Callable[[], T]) -> T:
        """Do something else that writes to the open job, after all that is on its way, and show the job then."""
        try:
            return await asyncio.wrap_future(self.journal.hand_in(work))
        finally:
            self._show_what_is_there()

    async def _watched(self, opened: OpenJob, written: Future[Job], due: tuple[Payload, ...]) -> None:
        """Wait for a slow disk, then show what is there."""
        try:
            await asyncio.wrap_future(written)
        except HisswayError as e:
            self.sitting.job_missed(opened.job.id, due)
            self.notify(f"Not written: {e}", severity="error", markup=False, timeout=20)
        finally:
            self._show_what_is_there()

    def _show_what_is_there(self) -> None:
        if self.open_job is not None and not self.journal.busy:
            self.job = self.open_job.job
            self.show_writing()

    def show_writing(self) -> None:
        """All is on the disk: say so."""

    def sit(self, name: str, role: str) -> None:
        """Someone says who they are: it stands on what is written from now on; what is on the screen they have seen."""
        if not same_person(name, self.sitting.name):
            self._tell_what_was_shown()
        self.sitting.sit(name, role)
        if self.open_job is not None:
            self.open_job.actor = name

    def close(self) -> None:
        """Let go of everything, once it is on the disk."""
        self._tell_what_was_shown()
        self.journal.close()
        if self.open_job is not None:
            self.open_job.close()
        self.services.close()
