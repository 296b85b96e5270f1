"""Who sits here: asked once a sitting, changed by one key from any screen."""

from textual import on
from textual.app import ComposeResult

from tui.screens.base import BayScreen
from tui.widgets.banner import Banner, Say
from tui.widgets.panels import Entry, EntryPanel

SAY = Say(
    "who sits here",
    "Type your name: it stands on everything you write from now on.",
    "Another name begins another sitting: what was shown and played until now was not shown to them.",
)


class WhoScreen(BayScreen[None]):
    """One name."""

    HERE = "who sits here"
    OF_JOB = False

    def body(self) -> ComposeResult:
        """What it is for, and the name."""
        yield Banner()
        yield EntryPanel(id="entry")

    def on_mount(self) -> None:
        """Offer the name as it is."""
        super().on_mount()
        self.query_one(Banner).say = SAY
        entry = Entry("name", "Your name", length=60, value=self.bay.sitting.name)
        self.query_one(EntryPanel).show((entry,), "Enter keeps it, Esc leaves it as it was.")

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        name = " ".join(event.values["name"].split())
        if not name:
            self.query_one(EntryPanel).wrong("Nothing was typed; Esc leaves it as it was.")
            return
        self.bay.sit(name, self.bay.sitting.role or "tech")
        self.dismiss()
