"""The step banner: what to do next in one sentence, how to hold the microphone, and what became of the last clip."""

from dataclasses import dataclass

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.reactive import reactive
from textual.widgets import Static

from tui.content import shown


@dataclass(frozen=True, slots=True)
class Say:
    """What the banner says: where we are, the next step, more about it, and the last outcome with its tone."""

    where: str = ""
    step: str = ""
    more: str = ""
    outcome: str = ""
    tone: str = "plain"
    """``plain``, ``good``, ``again``, ``caution`` or ``live``."""


class Banner(Vertical):
    """Four short texts; the border changes its shape, not only its colour, with the tone."""

    DEFAULT_CSS = """
    Banner {
        height: auto; padding: 0 1; background: $surface; border-left: outer $primary;
        Static { height: auto; width: 1fr; }
        #where { color: $secondary; }
        #step { text-style: bold; color: $foreground; }
        #more { color: $secondary; }
        #outcome { display: none; }
        &.-good { border-left: outer $success; #outcome { color: $success; } }
        &.-again { border-left: wide $error; #outcome { color: $error; text-style: bold; } }
        &.-caution { border-left: wide $warning; #step { color: $warning; } }
        &.-live { border-left: wide $error; }
        &.-spoken #outcome { display: block; }
    }
    """

    say: reactive[Say] = reactive(Say())

    def compose(self) -> ComposeResult:
        for part in ("where", "step", "more", "outcome"):
            yield Static(id=part, markup=False)

    def watch_say(self, say: Say) -> None:
        for part in ("where", "step", "more", "outcome"):
            static = self.query_one(f"#{part}", Static)
            static.update(shown(getattr(say, part), ""))
            static.display = bool(getattr(say, part))
        self.set_classes([f"-{say.tone}", *(["-spoken"] if say.outcome else [])])
