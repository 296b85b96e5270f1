"""Photos of the open job, or of one cylinder: brought in by their file names, looked at, taken back and restored."""

from functools import partial
from pathlib import Path
from urllib.parse import unquote, urlparse

from textual import on
from textual.binding import Binding
from textual.widgets import Static

from listen.durable import job_errors, replace
from listen.errors import HisswayError
from listen.jobs.events import PhotoTakenBack
from listen.jobs.folder.parts import is_clip_id
from listen.jobs.job import Job, PhotoRecord
from listen.jobs.photo import decoded, photo_event
from listen.voice import times
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.bridge.viewer import show_in_system
from tui.screens.base import BayScreen, asks, in_background
from tui.screens.dialog import OneLineScreen
from tui.widgets.heat import Halftone
from tui.widgets.lines import Lines

NONE = "No photos yet. Press a and give the name of a picture; dropping the file on the window types it."


class PhotosScreen(BayScreen[None]):
    """A line a photo, the chosen one drawn below."""

    CSS_PATH = "photos.tcss"
    BODY = (partial(Static, NONE, id="none", classes="empty"), Lines, Halftone)
    AUTO_FOCUS = "Lines"
    BINDINGS = [Binding("a", "add", "Add"), Binding("backspace", "take_back", "Take back / bring back")]

    def __init__(self, cylinder: int | None = None) -> None:
        super().__init__()
        self.cylinder = cylinder

    def way(self) -> tuple[str, ...]:
        return (self.job.title, *([f"cylinder {self.cylinder}"] if self.cylinder else []), "photos")

    def photos(self) -> tuple[PhotoRecord, ...]:
        return tuple(p for p in self.job.photos if self.cylinder in (None, p.kept.cylinder))

    def show_job(self, job: Job) -> None:
        listed, photos = self.query_one(Lines), self.photos()
        begin = photos[-1].kept.photo if photos and not listed.here else ""
        listed.put([(p.kept.photo, _line(p)) for p in photos], begin)
        self.query_one("#none").display = not photos

    def _chosen(self) -> PhotoRecord | None:
        here = self.query_one(Lines).here
        return next((p for p in self.photos() if p.kept.photo == here), None)

    @on(Lines.OptionHighlighted)
    def _look(self) -> None:
        chosen = self._chosen()
        with self.refusing():
            picture = decoded(chosen.kept.picture) if chosen else None
            self.query_one(Halftone).picture = picture

    @on(Lines.OptionSelected)
    def _open(self) -> None:
        if (chosen := self._chosen()) is not None:
            with self.refusing():
                show_in_system(self._as_file(chosen))

    def _as_file(self, p: PhotoRecord) -> Path:
        """The picture beside the journal, for other programs; derived, may be deleted."""
        if not is_clip_id(p.kept.photo):
            raise HisswayError(f"{plain(p.kept.photo, 40)}: cannot be a file name; it is shown here only")
        file = self.opened.folder / "photos" / f"{p.kept.photo}.jpg"
        with job_errors("write the picture", file):
            file.parent.mkdir(exist_ok=True)
            replace(file, p.kept.picture, sync=False)
        return file

    @asks
    async def action_add(self) -> None:
        title, hint = "A photo's file, then a comma and a word", "for example ~/photos/plug-3.jpg, oily"
        line = OneLineScreen(title, hint=hint, most=4000, take=lambda text: is_there(text.partition(",")[0]))
        if typed := await self.answer(line):
            name, _, text = typed.partition(",")
            self._bring(file_named(name), plain(text.strip(), 200))

    @in_background("photo")
    async def _bring(self, path: Path, text: str) -> None:
        self.bay.write(await in_thread(photo_event, path, cylinder=self.cylinder, text=text))
        listed = self.query_one(Lines)
        listed.highlighted = listed.option_count - 1

    def action_take_back(self) -> None:
        if (chosen := self._chosen()) is not None:
            self.write(PhotoTakenBack(photo=chosen.kept.photo, again=chosen.taken_back))


def file_named(text: str) -> Path:
    """The file meant by what was typed, or by what a terminal types where a file is dropped on it."""
    name = text.strip().strip("'\"").replace("\\ ", " ")
    if name.startswith("file://"):
        name = unquote(urlparse(name).path)
    return Path(name).expanduser()


def is_there(name: str) -> None:
    """Raise HisswayError where no such file or folder is."""
    if not file_named(name).exists():
        raise HisswayError("Nothing is there; check the name.")


def _line(p: PhotoRecord) -> str:
    where = f"cylinder {p.kept.cylinder}" if p.kept.cylinder else "the engine"
    words = " · ".join(
        w for w in (where, p.kept.of, p.kept.text, p.kept.imported_from, times.moment(p.event.time)) if w
    )
    return plain(f"{'– taken back: ' if p.taken_back else ''}{words}", 160)
