"""Times of the Round screen: before a clip, the clip itself, and the walk from point to point."""

from typing import ClassVar, cast

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Label, Static

from tui.bridge.bay import Bay
from tui.bridge.preferences import Preferences
from tui.content import shown
from tui.widgets.field import Field
from tui.widgets.tick import Tick

FIELDS = (
    ("before_s", "Before each clip, to get clear"),
    ("clip_s", "Length of a clip"),
    ("move_s", "From point to point; 0: a key a clip"),
    ("air_s", "For the air to come or go; 0: a key"),
)


class TimesScreen(ModalScreen[None]):
    """Three figures and a tick; Enter keeps them."""

    CSS_PATH = "times.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "dismiss", "Leave as it was")]

    def compose(self) -> ComposeResult:
        bay = cast("Bay", self.app)
        with Vertical(id="times"):
            yield Static("Times", classes="heading")
            for name, words in FIELDS:
                with Horizontal():
                    yield Label(words, classes="what")
                    yield Field(f"{getattr(bay.preferences, name):g}", id=name, compact=True, max_length=5)
                    yield Label("s", classes="unit")
            yield Tick("Tones that lead, before and after each clip (Space)", bay.preferences.tones, compact=True)
            yield Static("Longer clips hear fainter hiss: four times the time gives 3 dB. Enter keeps, Esc leaves.")
            yield Static(id="wrong")

    @on(Input.Submitted)
    def keep(self) -> None:
        bay = cast("Bay", self.app)
        try:
            values = {name: float(self.query_one(f"#{name}", Input).value.replace(",", ".")) for name, _ in FIELDS}
            values["tones"] = self.query_one(Tick).value
            msgspec.convert({**msgspec.structs.asdict(bay.preferences), **values}, Preferences)
        except (ValueError, msgspec.ValidationError):
            self.query_one("#wrong", Static).update(
                shown("! Pauses may be 0 to 60 s, a clip 1 to 60 s; type a number.", "bold $error")
            )
            return
        bay.prefer(**values)
        self.dismiss()
