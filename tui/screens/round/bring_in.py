"""Which folder of clips recorded elsewhere is to be brought into this round."""

from pathlib import Path
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from tui.content import shown
from tui.screens.photos.screen import file_named
from tui.widgets.field import Field

ABOUT = """A folder of recordings from a phone or a field recorder, or one file. Whatever the files are called: they
are listed in order of time, and you say by keys which is which, hearing each; one long recording is cut at marks.
One short file is the clip that is due; files named by point and kind (intake-quiet-1.wav, intake-air-1.wav,
intake-quiet-2.wav) come in at once."""


class BringInScreen(ModalScreen["Path | None"]):
    """One line for the folder or file."""

    CSS_PATH = "bring_in.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss(None)", "Back")]

    def compose(self) -> ComposeResult:
        """What is expected, and where it lies."""
        with Vertical(id="bring"):
            yield Static("Import clips recorded elsewhere", classes="heading")
            yield Static(shown_about(), id="about")
            yield Field(placeholder="folder or file, for example ~/recordings/cylinder-3", compact=True)
            yield Static(id="wrong")

    @on(Input.Submitted)
    def go(self, event: Input.Submitted) -> None:
        """Hand the place in."""
        place: Path = file_named(event.value)
        if not event.value.strip() or not place.exists():
            self.query_one("#wrong", Static).update(shown("! Nothing is there; check the name.", "bold $error"))
            return
        self.dismiss(place)


def shown_about() -> str:
    """The expected names (our own text, no markup in it)."""
    return ABOUT
