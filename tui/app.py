"""The application: themes, the one open job, and the way between screens."""

import asyncio
import os
import sys
import traceback
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from contextlib import suppress
from functools import partial
from pathlib import Path, PurePath
from typing import Any, ClassVar, TypeVar

import msgspec
from textual import events
from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.filter import Monochrome
from textual.reactive import reactive
from textual.screen import Screen

from listen.errors import HisswayError
from listen.jobs.events import NumbersShown, Payload
from listen.jobs.folder.store import OpenJob
from listen.jobs.hearing import numbers_seen, same_person
from listen.jobs.job import Job
from listen.voice.text import plain
from tui.bridge.bay import Bay
from tui.bridge.journal_writer import WAIT_S, JournalWriter
from tui.bridge.others import LOOK_EVERY_S, Others
from tui.bridge.preferences import load, save
from tui.bridge.services import Services
from tui.bridge.sitting import Sitting
from tui.content import DrawnOnly
from tui.screens.base import BayScreen
from tui.screens.dialog import OneLineScreen
from tui.screens.jobs.screen import JobsScreen
from tui.screens.ordered_keys import OrderedKeys
from tui.themes import DAYLIGHT, DIM_BAY, THEMES, AnySegment

T = TypeVar("T")

FAULT = (
    "something failed inside ({}). Every clip that was acknowledged is on disk; start hissway again to go on. "
    "Details are in {}."
)


WHO = "Who sits here? The name stands on everything written from now on."
SITTING = (
    "Another name begins another sitting: what was shown and played until now was not shown to them. A call by ear is "
    "blind only where clips were played to that person before a number of the round was shown to them. "
    "Enter keeps it, Esc leaves it as it was."
)


class HisswayApp(App[None]):
    """Holds one immutable job; screens watch it and ask for events to be written."""

    TITLE = "Hissway"
    CSS_PATH: ClassVar[list[str | PurePath]] = ["app.tcss", "screens/jobs/jobs.tcss"]
    """The first screen's sheet too: a screen that is never pushed does not bring its own."""
    ENABLE_COMMAND_PALETTE = True
    COMMAND_PALETTE_BINDING = "ctrl+p"
    BINDINGS = [
        Binding("question_mark,f1", "explain", "Help", key_display="?"),
        Binding("f2", "who", "Who sits here", show=False),
        Binding("ctrl+t", "daylight", "Light or dark", show=False),
        Binding("ctrl+q", "quit", "Quit", show=False, priority=True),
        Binding("ctrl+z", "stand_still", "To the shell; fg comes back", show=False, priority=True),
    ]

    job: reactive[Job | None] = reactive["Job | None"](None)
    """The job that is open; every screen shows this one value."""

    def __init__(self, jobs: Path | None = None, *, services: Services | None = None) -> None:
        super().__init__()
        self.services = services or Services(jobs)
        self.open_job: OpenJob | None = None
        self.sitting = Sitting()
        self._journal = JournalWriter()
        self.headphones_checked: dict[str, bool | None] = {}
        """Learners whose headphones were checked since the program was started."""
        self.preferences = load(self.services.preferences_path())
        for theme in THEMES:
            self.register_theme(theme)
        self.theme = DAYLIGHT.name if self.preferences.daylight else DIM_BAY.name
        self.fault = ""
        """What failed inside, in the words of the last line of its trace; empty while nothing has."""
        self._filters = [AnySegment() if isinstance(f, Monochrome) else f for f in self._filters] + [DrawnOnly()]

    async def on_event(self, event: events.Event) -> None:
        """Keys go to the screen first, one after the other; all else as ever."""
        taken = isinstance(event, events.Key) and not event.is_forwarded and await self._offered(event)
        if not taken:
            await super().on_event(event)

    async def _offered(self, key: events.Key) -> bool:
        # Of keys typed in one go the first may open a screen: the others are meant for it, and wait until it is made.
        while self.screen_stack and not (_takes_keys(self.screen) or self._exit):
            await asyncio.sleep(0)
        screen = self.screen if self.screen_stack else None
        return isinstance(screen, OrderedKeys) and screen.take_key(key)

    def on_mount(self) -> None:
        """Other programs may write to the open job too."""
        self.set_interval(LOOK_EVERY_S, Others(self).look)

    def tell(self, text: object, *, bad: bool = False) -> None:
        """A short message in the corner; longer there where it is bad."""
        self.notify(plain(text), severity="error" if bad else "information", markup=False, timeout=8 if bad else 4)

    def prefer(self, **changes: Any) -> None:
        """Change preferences and keep them."""
        self.preferences = msgspec.structs.replace(self.preferences, **changes)
        save(self.services.preferences_path(), self.preferences)

    def get_default_screen(self) -> Screen[None]:
        """The jobs come first."""
        return JobsScreen()

    def take(self, opened: OpenJob) -> None:
        """Make a job the open one; the one before is closed."""
        self.put_away()
        self.open_job = opened
        opened.actor = self.sitting.name or opened.job.people.get("tech", "")
        self.job = opened.job

    def put_away(self) -> None:
        """Close the open job, if any."""
        self._tell_what_was_shown()
        if self.open_job is not None:
            self._close(self.open_job)
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

    def _close(self, opened: OpenJob) -> None:
        """At once, or once the disk has taken what is on its way."""
        if self._journal.busy:
            self._journal.hand_in(opened.close)
        else:
            opened.close()

    def write(self, *events: Payload) -> None:
        """Append events to the open job's journal, then show the job as it is now.

        Raises what the journal raises: :class:`JobError` where it cannot be written.

        On a slow disk the job is shown as it will be, the top line says that it is still being written, and what the
        disk refuses is told when it does.
        """
        assert self.open_job is not None and self.job is not None
        opened, due = self.open_job, self.sitting.due(self.open_job.job.id)
        written = self._journal.hand_in(partial(opened.append, *due, *events, known=opened.job))
        self.sitting.told(opened.job.id)
        try:
            self.job = written.result(WAIT_S)
        except TimeoutError:
            self.job = opened.foreseen(self.job, *due, *events)
            self.run_worker(self._watched(opened, written, due), group="journal")
        except BaseException:
            self.sitting.untold(opened.job.id, due)
            self.job = opened.job  # also where something came in that had not been seen
            raise

    def later(self, work: Callable[[], None]) -> None:
        """Do something with the open job after all that is on its way; nobody waits for it."""
        self._journal.hand_in(work)

    async def written(self, work: Callable[[], T]) -> T:
        """Do something else that writes to the open job, after all that is on its way, and show the job then."""
        try:
            return await self._journal.done(work)
        finally:
            self._show_what_is_there()

    async def _watched(self, opened: OpenJob, written: Future[Job], due: tuple[Payload, ...]) -> None:
        """Wait for a slow disk, then show what is there."""
        try:
            await asyncio.wrap_future(written)
        except HisswayError as e:
            self.sitting.untold(opened.job.id, due)
            self.notify(f"Not written: {e}", severity="error", markup=False, timeout=20)
        finally:
            self._show_what_is_there()

    def _show_what_is_there(self) -> None:
        if self.open_job is not None and not self._journal.busy:
            self.job = self.open_job.job
            for screen in self.screen_stack:
                if isinstance(screen, BayScreen) and screen.is_mounted:
                    screen.show_remark()

    @property
    def still_writing(self) -> bool:
        """Whether the disk has not taken yet what is shown."""
        return self._journal.busy

    def sit(self, name: str, role: str) -> None:
        """Someone says who they are: it stands on what is written from now on; what is on the screen they have seen."""
        if not same_person(name, self.sitting.name):
            self._tell_what_was_shown()
        self.sitting.sit(name, role)
        if self.open_job is not None:
            self.open_job.actor = name
        for screen in self.screen_stack:
            if isinstance(screen, BayScreen):
                screen.note_shown()

    def action_who(self) -> None:

        def named(name: str | None) -> None:
            if name:
                self.sit(" ".join(name.split()), self.sitting.role or "tech")

        if not isinstance(self.screen, OneLineScreen):
            self.push_screen(OneLineScreen(WHO, self.sitting.name, how=SITTING, most=60), named)

    def action_help_quit(self) -> None:
        """Ctrl+C leaves, as it does everywhere else; everything kept is already on disk."""
        self.exit()

    def action_stand_still(self) -> None:
        """Give the terminal back to the shell until ``fg``; a program that stands still hears and writes nothing."""
        doing = [s.under_way() for s in self.screen_stack if isinstance(s, BayScreen)]
        doing += ["the disk has not taken yet what was written"] * self.still_writing
        if sys.platform == "win32" or self._driver is None or not self._driver.can_suspend:
            self.tell(
                "This terminal brings back no program that stands still. Ctrl+Q leaves; all that was kept is on disk."
            )
        elif any(doing):
            self.tell(f"Not now: {', '.join(filter(None, doing))}.", bad=True)
        else:
            self.action_suspend_process()

    def action_explain(self) -> None:
        from tui.screens.help.screen import HelpScreen

        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen.of(self.screen))

    def action_daylight(self) -> None:
        """Change between the dim bay and daylight."""
        self.theme = DAYLIGHT.name if self.theme == DIM_BAY.name else DIM_BAY.name
        self.prefer(daylight=self.theme == DAYLIGHT.name)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """What the command palette offers besides the screen's own keys."""
        yield SystemCommand("Help for this screen", "What this screen is for and its keys", self.action_explain)
        yield SystemCommand("Who sits here", "Say who you are; it stands on what you write", self.action_who)
        yield SystemCommand("Light or dark", "Change between daylight and the dim bay", self.action_daylight)
        yield SystemCommand("Quit", "Leave Hissway; everything kept is already on disk", self.exit)

    def _fatal_error(self) -> None:
        """A fault of ours: the trace goes to the log on fd 2; the sentence waits for the terminal to be given back."""
        trace = traceback.format_exc()
        os.write(2, trace.encode("utf-8", "replace"))
        self.fault = self.fault or trace.strip().splitlines()[-1][:200]
        self._return_code = 1
        self.panic()

    def on_unmount(self) -> None:
        """After the last screen: let go of everything."""
        self._tell_what_was_shown()
        self._journal.close()
        if self.open_job is not None:
            self.open_job.close()
        self.services.close()


def _takes_keys(screen: Screen[Any]) -> bool:
    return screen.is_ready if isinstance(screen, OrderedKeys) else screen.is_mounted


def _as_screens_know_it(app: HisswayApp) -> Bay:
    """Checked by mypy only: the application is all that its screens may ask of it."""
    return app
