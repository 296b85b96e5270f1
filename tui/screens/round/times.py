"""Times of the Round screen: before a clip, the clip itself, and the walk from point to point."""

import msgspec
from textual.app import ComposeResult
from textual.widgets import Static

from tui.bridge.preferences import Preferences
from tui.screens.form import FormScreen, Line

FIELDS = (
    ("before_s", "Before each clip, to get clear"),
    ("clip_s", "Length of a clip"),
    ("move_s", "From point to point; 0: a key a clip"),
    ("air_s", "For the air to come or go; 0: a key"),
)
"""All in seconds."""
TONES = [("before and after each clip", "on"), ("none", "off")]


class TimesScreen(FormScreen[None]):
    """Four figures and whether there are tones, for every round at this machine."""

    HERE, KEEP = "times", "Keep the times"
    AUTO_FOCUS = "#before_s"

    def lines(self) -> tuple[Line, ...]:
        prefs = self.bay.preferences
        figures = (Line(name, f"{words}, in s", f"{getattr(prefs, name):g}") for name, words in FIELDS)
        return (*figures, Line("tones", "Tones", "on" if prefs.tones else "off", options=TONES))

    def below(self) -> ComposeResult:
        yield Static("Longer clips hear fainter hiss: four times the time gives 3 dB.")

    def action_keep(self) -> None:
        try:
            values = {name: float(self.text(name).replace(",", ".")) for name, _ in FIELDS}
            values["tones"] = self.text("tones") == "on"
            msgspec.convert({**msgspec.structs.asdict(self.bay.preferences), **values}, Preferences)
        except (ValueError, msgspec.ValidationError):
            self.wrong("Pauses may be 0 to 60 s, a clip 1 to 60 s; type a number.")
        else:
            self.bay.prefer(**values)
            self.dismiss()
