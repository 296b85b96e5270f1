"""Times of the Round screen: before a clip, the clip itself, and the walk from point to point."""

from typing import cast

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Checkbox, Input, Label, Static

from tui.bridge.bay import Bay
from tui.bridge.preferences import Preferences
from tui.screens.dialog import Dialog
from tui.widgets.entries import Field

FIELDS = (
    ("before_s", "Before each clip, to get clear"),
    ("clip_s", "Length of a clip"),
    ("move_s", "From point to point; 0: a key a clip"),
    ("air_s", "For the air to come or go; 0: a key"),
)


class Tick(Checkbox):
    """A box to tick whose state is a sign, not only a colour: ``[x]`` or ``[ ]``, then words."""

    DEFAULT_CSS = """
    Tick { &, &:focus { background: transparent; border: none; } &:focus { text-style: underline; } }
    """

    def render(self) -> Content:
        box = ("[x] ", "bold $accent") if self.value else ("[ ] ", "bold $secondary")
        return Content.assemble(box, (self.label.plain, "$foreground"))


class TimesScreen(Dialog[None]):
    """Four figures and a tick; Enter keeps them."""

    CSS_PATH = "times.tcss"

    def __init__(self) -> None:
        super().__init__("Times", "Enter keeps, Esc leaves")

    def body(self) -> ComposeResult:
        prefs = cast("Bay", self.app).preferences
        for name, words in FIELDS:
            with Horizontal():
                yield Label(words, classes="what")
                yield Field(f"{getattr(prefs, name):g}", id=name, compact=True, max_length=5)
                yield Label("s", classes="unit")
        yield Tick("Tones that lead, before and after each clip (Space)", prefs.tones, compact=True)
        yield Static("Longer clips hear fainter hiss: four times the time gives 3 dB.")

    @on(Input.Submitted)
    def keep(self) -> None:
        bay = cast("Bay", self.app)
        try:
            values = {name: float(self.query_one(f"#{name}", Input).value.replace(",", ".")) for name, _ in FIELDS}
            values["tones"] = self.query_one(Tick).value
            msgspec.convert({**msgspec.structs.asdict(bay.preferences), **values}, Preferences)
        except (ValueError, msgspec.ValidationError):
            self.warn("Pauses may be 0 to 60 s, a clip 1 to 60 s; type a number.")
            return
        bay.prefer(**values)
        self.dismiss()
