"""The lab's desk: who learns, how they stand, and what to do next."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from listen.errors import HisswayError
from tui.bridge.threads import in_thread
from tui.screens.base import BayScreen
from tui.screens.lab.name import NameScreen
from tui.screens.pick import PickScreen
from tui.words import plain, shown

if TYPE_CHECKING:
    from pathlib import Path

    from listen.lab.learners import Learner
    from listen.lab.training.drills import DrillSet
    from listen.lab.training.instructor import LearnerRow
    from listen.lab.training.next_drill import Suggestion

T = TypeVar("T")
NEW = "new learner"


class LabScreen(BayScreen[None]):
    """Standing of one learner; keys lead to drills, thresholds and the class."""

    CSS_PATH = "lab.tcss"
    AUTO_FOCUS = "#page"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,enter", "suggested", "Do what is suggested", key_display="Space"),
        Binding("d", "drill", "Drill"),
        Binding("t", "threshold", "Ear threshold"),
        Binding("w", "learner", "Who learns"),
        Binding("i", "table", "The class"),
        Binding("D", "delete", "Delete learner", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.learner: Learner | None = None
        self._suggestion: Suggestion | None = None

    def body(self) -> ComposeResult:
        """Standing."""
        with VerticalScroll(id="page"):
            yield Static(shown("Reading the lab's books ..."), id="text")

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return ("lab", self.learner.name) if self.learner else ("lab",)

    def on_mount(self) -> None:
        """Who was here last comes first."""
        super().on_mount()
        self.load()

    def on_screen_resume(self) -> None:
        """Back from a drill: the standing has changed."""
        self.load()

    @property
    def root(self) -> Path:
        """Folder of the lab."""
        return self.bay.services.lab_root()

    def load(self) -> None:
        """Read the standing away from the screen."""
        self.start(self._load, "load")

    async def _load(self) -> None:
        text = self.query_one("#text", Static)
        try:
            row, self._suggestion = await in_thread(_standing, self.root, self.learner)
        except HisswayError as e:
            text.update(shown(f"× {e}", "$error"))
            return
        self.learner = row.learner if row else None
        self._job_changed(self.bay.job)
        text.update(_page(row, self._suggestion))

    # ------------------------------------------------------------------ keys

    def action_learner(self) -> None:
        """Choose or take in a learner."""
        options = [(learner.id, plain(learner.name), "") for learner in self._learners()]
        options.append((NEW, "a new learner", ""))
        self.app.push_screen(PickScreen("Who learns?", options, self.learner.id if self.learner else ""), self._chosen)

    def _chosen(self, chosen: str | None) -> None:
        if chosen == NEW:
            self.app.push_screen(NameScreen("Name of the learner", "a first name or a nickname will do"), self._named)
        elif chosen is not None:
            self.learner = next((x for x in self._learners() if x.id == chosen), None)
            self.load()

    def _learners(self) -> tuple[Learner, ...]:
        from listen.lab.learners import list_learners

        nobody: tuple[Learner, ...] = ()
        return self._try(partial(list_learners, self.root), nobody)

    def _named(self, name: str | None) -> None:
        from listen.lab.learners import create_learner

        if name is not None:
            self.learner = self._try(partial(create_learner, self.root, name), self.learner)
            self.load()

    def action_delete(self) -> None:
        """Delete the learner with everything, after a question."""
        if self.learner is None:
            return
        from listen.lab.learners import delete_learner

        learner = self.learner

        def delete(answer: str | None) -> None:
            if answer == "yes":
                self._try(partial(delete_learner, self.root, learner), None)
                self.learner = None
                self.load()

        options = [("no", "keep", ""), ("yes", "delete the name, every answer and every threshold", "")]
        self.app.push_screen(PickScreen(f"Delete {plain(learner.name, 60)}?", options), delete)

    def action_suggested(self) -> None:
        """The suggested drill, or take a learner in first."""
        if self.learner is None:
            self.action_learner()
        elif self._suggestion is not None and self._suggestion.drill is not None:
            self._drill(self._suggestion.drill.id)
        else:
            self.action_drill()

    def action_drill(self) -> None:
        """Choose a drill."""
        from listen.lab.training.drills import list_drills

        if self.learner is None:
            self.action_learner()
            return
        none: tuple[DrillSet, ...] = ()
        drills = self._try(partial(list_drills, self.root), none)
        options = [
            (d.id, plain(d.title, 60), f"{d.level}, {len(d.items)} rounds. {plain(d.about, 120)}") for d in drills
        ]
        if options:
            self.app.push_screen(PickScreen("Which drill?", options), self._drill)
        else:
            self.tell("No drills here; hissway lab make writes some.")

    def _drill(self, drill: str | None) -> None:
        from tui.screens.lab.drill import DrillScreen

        if drill is not None and self.learner is not None:
            self.app.push_screen(DrillScreen(self.root, self.learner, drill))

    def action_threshold(self) -> None:
        """Choose a background and find the ear's threshold."""
        from listen.lab.ear.threshold import backgrounds
        from tui.screens.lab.threshold import ThresholdScreen

        learner = self.learner
        if learner is None:
            self.action_learner()
            return

        def run(name: str | None) -> None:
            if name is not None:
                self.app.push_screen(ThresholdScreen(self.root, learner, name))

        self.app.push_screen(PickScreen("Over which background?", [(b, plain(b), "") for b in backgrounds()]), run)

    def action_table(self) -> None:
        """The instructor's view."""
        self.start(self._table, "load")

    async def _table(self) -> None:
        text = self.query_one("#text", Static)
        try:
            lines = await in_thread(_class_lines, self.root)
        except HisswayError as e:
            self.refuse(e)
            return
        text.update(Content("\n").join([shown("The class", "bold $accent"), *(shown(line) for line in lines)]))

    def _try(self, work: Callable[[], T], otherwise: T) -> T:
        try:
            return work()
        except HisswayError as e:
            self.refuse(e)
            return otherwise


def _standing(root: Path, learner: Learner | None) -> tuple[LearnerRow | None, Suggestion | None]:
    from listen.lab.learners import list_learners
    from listen.lab.training.instructor import learner_row
    from listen.lab.training.next_drill import suggest

    known = list_learners(root)
    chosen = next((k for k in known if learner is not None and k.id == learner.id), known[0] if known else None)
    if chosen is None:
        return None, None
    return learner_row(root, chosen), suggest(root, chosen, datetime.now(UTC))


def _class_lines(root: Path) -> list[str]:
    from listen.lab.training.instructor import class_table
    from listen.lab.training.score_words import score_lines

    lines = [line for row in class_table(root) for line in (*score_lines(row), "")]
    return lines or ["No learners yet. Press w to take one in."]


def _page(row: LearnerRow | None, suggestion: Suggestion | None) -> Content:
    from listen.lab.ear.playback import CAUTION
    from listen.lab.training.score_words import score_lines

    if row is None:
        return Content("\n").join(
            [shown("Nobody learns here yet.", "bold"), shown("Press w and type a name: that is all."), shown(CAUTION)]
        )
    parts = [shown(line) for line in score_lines(row)]
    if suggestion is not None:
        what = plain(suggestion.drill.title, 80) if suggestion.drill else "a new drill, made by: hissway lab make"
        parts += [shown(""), Content.assemble(("Next: ", "bold $accent"), (what, "bold"), f"\n{plain(suggestion.why)}")]
    return Content("\n").join([*parts, shown(""), shown(CAUTION, "$warning")])
