"""What all screens share: the top line, the keys at the bottom, the way back, and messages that stay text."""

from collections.abc import Awaitable, Callable, Coroutine, Iterator, Sequence
from contextlib import contextmanager
from functools import partial, wraps
from pkgutil import resolve_name
from typing import Any, ClassVar, Concatenate, Literal, ParamSpec, TypeVar, cast

from textual.app import ComposeResult, ScreenError
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.content import Content
from textual.css.query import NoMatches
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.events import ClipKept, NoteAdded, Payload
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.job import Job, RoundRecord
from listen.voice.names import walked_clip
from tui.bridge.bay import Bay
from tui.content import hung, shown
from tui.screens.dialog import Line, OneLineScreen, PickScreen
from tui.screens.ordered_keys import OrderedKeys
from tui.widgets.edges import KeyBar, TopBar

ELSEWHERE = {
    "cautions": "cautions:CautionScreen",
    "drill": "lab.drill:DrillScreen",
    "headphones": "lab.which:HeadphoneScreen",
    "job": "page.screen:PageScreen",
    "threshold": "lab.which:ThresholdScreen",
    "times": "round.times:TimesScreen",
}
"""Screens that are not ``XyScreen`` in ``xy/screen.py``, ``xy`` being their name."""
P = ParamSpec("P")
R = TypeVar("R")
S = TypeVar("S", bound="BayScreen[Any]")
T = TypeVar("T")
Work = Callable[Concatenate[S, P], Coroutine[Any, Any, None]]


def made(name: str, *about: object) -> Screen[Any]:
    """A screen of that name, loaded only now, about what is given."""
    folder = name.replace("-", "_")
    where = ELSEWHERE.get(name, f"{folder}.screen:{folder.title().replace('_', '')}Screen")
    return cast("Screen[Any]", resolve_name(f"{__package__}.{where}")(*about))


def in_background(group: str) -> Callable[[Work[S, P]], Callable[Concatenate[S, P], None]]:
    """A method that runs beside the screen, see :meth:`BayScreen.start`; a new one ends the one before of its group."""

    def decorated(work: Work[S, P]) -> Callable[Concatenate[S, P], None]:
        @wraps(work)
        def begin(screen: S, /, *args: P.args, **kwargs: P.kwargs) -> None:
            screen.start(partial(work, screen, *args, **kwargs), group)

        return begin

    return decorated


def asks(flow: Work[S, P]) -> Callable[Concatenate[S, P], None]:
    """A method that asks one thing after another, each by ``await self.answer(...)``: it runs beside the screen.

    Keys typed ahead wait for the next question, so it awaits nothing but answers.
    """

    @wraps(flow)
    def begin(screen: S, /, *args: P.args, **kwargs: P.kwargs) -> None:
        async def asked() -> None:
            try:
                await flow(screen, *args, **kwargs)
            finally:
                screen.asking, screen.about_to_ask = screen.asking - 1, False

        if not screen.about_to_ask:  # the second click of two finds no dialog to go to yet
            screen.asking, screen.about_to_ask = screen.asking + 1, True
            screen.start(asked)

    return begin


class BayScreen(OrderedKeys[R]):
    """A screen of Hissway; subclasses give ``BODY`` and, if they show the job, :meth:`show_job`."""

    BINDINGS = [Binding("escape,q", "back", "Back", key_display="Esc")]
    SHOWS_NUMBERS: ClassVar[Literal["", "round", "job"]] = ""
    """Whether measured numbers or verdicts are seen here: those of the screen's round, or of all rounds of the job."""

    HERE: ClassVar[str] = ""
    """This screen's own word in the top line."""
    OF_JOB: ClassVar[bool] = True
    """Whether it is about the open job."""
    AT_THE_BAY: ClassVar[bool] = True
    """Whether who sits at the bay acts here; in the lab it is who learns, whom the way there names."""

    def __init__(self, round_id: str = "") -> None:
        super().__init__()
        self.round_id = round_id
        """The round that it is about, if it is about one."""

    @property
    def bay(self) -> Bay:
        return cast("Bay", self.app)

    def compose(self) -> ComposeResult:
        yield TopBar()
        yield from self.body()
        yield KeyBar()

    BODY: ClassVar[tuple[Callable[[], Widget], ...]] = ()
    """What stands between the top line and the keys, one below the other."""

    def body(self) -> ComposeResult:
        """The same, where it is not as simple."""
        return (make() for make in self.BODY)

    @property
    def job(self) -> Job:
        """The open job; an empty one while a screen is left whose job is closed already."""
        return self.bay.job or Job()

    @property
    def opened(self) -> OpenJob:
        assert self.bay.open_job is not None
        return self.bay.open_job

    @property
    def record(self) -> RoundRecord:
        """The round that this screen is about, as it is now."""
        return self.job.round(self.round_id)

    def way(self) -> tuple[str, ...]:
        """The way here, for the top line: the job, the cylinder of a screen about a round, and this screen."""
        job = self.bay.job if self.OF_JOB else None
        about = f"cylinder {self.record.cylinder}" if job and self.round_id else ""
        return tuple(part for part in (job.title if job else "", about, self.HERE) if part)

    # Textual calls this beside a subclass's own on_mount: one that called it too would do all of it twice.
    def on_mount(self) -> None:
        self.watch(self.app, "job", self._job_changed, init=False)
        self._job_changed(self.bay.job)

    _missed = False
    """Whether the job changed while another screen stood before this one."""

    def _job_changed(self, job: Job | None) -> None:
        # Nobody sees it, and a verdict drawn unseen would be counted as shown: it is drawn when it is back.
        self._missed = self._is_covered()
        if self._missed:
            return
        if not self.query(TopBar):  # a dialog's answer that came when its screen had been left
            return
        self.query_one(TopBar).way = self.way()
        self.show_remark()
        if job is not None:
            self.show_job(job)
            self.note_shown()

    def _is_covered(self) -> bool:
        """Whether a whole screen stands before this one; a dialog lets it show through."""
        stack = self.app.screen_stack
        return self in stack and any(not s.is_modal for s in stack[stack.index(self) + 1 :])

    def on_screen_resume(self) -> None:
        """Seen again: show what changed meanwhile."""
        if self._missed:
            self._job_changed(self.bay.job)

    def show_remark(self) -> None:
        """At the right of the top line: a slow disk, else what is simulated, else who sits here."""
        here = "simulated clips" if self.job.simulated else self.bay.sitting.name
        slow = "slow disk: still writing" if self.bay.journal.busy else ""
        remark = slow or self.bay.services.remark or (here if self.AT_THE_BAY else "")
        self.query_one(TopBar).remark = remark

    def numbers(self, job: Job) -> tuple[str, ...]:
        """Rounds of which this screen shows measured numbers or a verdict now."""
        if self.SHOWS_NUMBERS == "job":
            return _judged(job)
        return (self.round_id,) if self.SHOWS_NUMBERS == "round" else ()

    def whole_job_shown(self, job: Job) -> None:
        """Keep account of another job than the open one, or of a page beside the screen, shown to whoever sits here."""
        self.bay.sitting.shown(job.id, _judged(job), self._word())

    def _word(self) -> str:
        return type(self).__name__.removesuffix("Screen").lower()

    def note_shown(self) -> None:
        """Keep account of what whoever sits here has seen: a call by ear after that is not blind."""
        if (job := self.bay.job) is not None and not self._is_covered() and (rounds := self.numbers(job)):
            self.bay.sitting.shown(job.id, rounds, self._word())

    def show_job(self, job: Job) -> None:
        """Show the job as it is now."""

    def show_again(self) -> None:
        """Show the job that is open, if one is, as something beside it changed, the screen's size for one."""
        if self.bay.job is not None:
            self.show_job(self.bay.job)

    def start(self, work: Callable[[], Coroutine[Any, Any, object]], group: str = "") -> None:
        """Run something beside the screen; an error is told and ends it, and so does a new piece of its group."""
        # Not the coroutine itself: one whose worker is ended before it begins would never be awaited.
        ready = cast("Callable[[], Awaitable[None]]", partial(self._while_here, work))
        self.run_worker(ready, group=group or "default", exclusive=bool(group))

    async def _while_here(self, work: Callable[[], Coroutine[Any, Any, object]]) -> None:
        """Do it; what is refused is told, and what it wants to show on a screen left meanwhile is dropped."""
        try:
            with self.refusing():
                await work()
        except (NoMatches, ScreenError):
            if self in self.app.screen_stack and self.children:  # a program that ends takes the screen down first
                raise

    def tell(self, text: object, *, bad: bool = False) -> None:
        self.bay.tell(text, bad=bad)

    def refuse(self, error: HisswayError) -> None:
        self.tell(error, bad=True)

    @contextmanager
    def refusing(self) -> Iterator[None]:
        """What is refused in here is told; the rest of the block is not done."""
        try:
            yield
        except HisswayError as e:
            self.refuse(e)

    def write(self, *events: Payload) -> bool:
        """Have events written; False where that is refused, which is told."""
        with self.refusing():
            if events:
                self.bay.write(*events)
            return True
        return False

    def action_show(self, name: str) -> None:
        self.show(name, *self.about(name))

    def show(self, name: str, *about: object) -> None:
        self.app.push_screen(made(name, *about))

    asking = 0
    """How many methods are under way that ask, see :func:`asks`."""
    about_to_ask = False
    """Whether one of them was begun and has not asked its first question yet."""

    def ready_for_key(self) -> bool:
        return super().ready_for_key() and not self.asking

    async def answer(self, dialog: Screen[T]) -> T | None:
        """What a dialog is answered; None where it was left."""
        self.about_to_ask = False
        return await self.app.push_screen_wait(dialog)

    async def pick(self, title: str, options: Sequence[Line], chosen: str = "", *, keyed: bool = False) -> str | None:
        """Identifier of the option chosen, see :class:`PickScreen`; None where the question was left."""
        return await self.answer(PickScreen(title, options, chosen, keyed=keyed))

    def about(self, name: str) -> tuple[object, ...]:
        """What a screen opened from here is told."""
        return ()

    @asks
    async def write_note(
        self, about: str, cylinder: int | None, round_id: str | None, clip: ClipKept | None = None
    ) -> None:
        """Ask for a note and keep it; where a clip is given it is about that clip."""
        about = f"the clip: {walked_clip(clip.point, clip.walk)}" if clip else about
        if text := await self.answer(OneLineScreen(f"Note on {about}")):
            self.bay.write(NoteAdded(text=text, cylinder=cylinder, round_id=round_id, clip=clip.clip if clip else None))
            self.tell("The note is kept; it stands on the page of the cylinder (o) or of the job (j).")

    PAGE: ClassVar[str] = ""
    """What Page Down and Page Up scroll, where they are bound."""

    def action_page(self, by: int) -> None:
        """Scroll what is longer than the screen."""
        page = self.query_one(self.PAGE)
        (page.scroll_page_down if by > 0 else page.scroll_page_up)(animate=False)

    def under_way(self) -> str:
        """What must not be left standing (Ctrl+Z), in a few words; empty where nothing is under way."""
        return ""

    def action_back(self) -> None:
        if len(self.app.screen_stack) > 1:
            self.dismiss()


def _judged(job: Job) -> tuple[str, ...]:
    return tuple(r.id for r in job.rounds if r.verdict is not None)


class TextScreen(BayScreen[None]):
    """A page of text that scrolls where it is longer than the screen."""

    BESIDE = 4
    """Columns beside the text: its edges, and the scroll bar's room."""
    AUTO_FOCUS = "#page"
    BEGINS = ""
    """What stands there first."""

    def body(self) -> ComposeResult:
        with VerticalScroll(id="page"):
            yield Static(shown(self.BEGINS), id="text")

    _text = Content()

    def put(self, text: Content) -> None:
        self._text = text
        self.query_one("#text", Static).update(hung(text, self.size.width - self.BESIDE))

    def on_resize(self) -> None:
        if self._text:
            self.put(self._text)
