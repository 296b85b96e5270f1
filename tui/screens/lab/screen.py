"""The lab's desk: who learns, how they stand, and what to do next."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Literal

from textual.binding import Binding
from textual.content import Content

from listen.errors import HisswayError
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import TextScreen, made
from tui.screens.dialog import OneLineScreen, PickScreen
from tui.screens.lab.standing import class_file, class_lines, page, standing

if TYPE_CHECKING:
    from pathlib import Path

    from listen.lab.learners import Learner
    from listen.lab.training.next_drill import Suggestion

NEW, PRACTICE = "new learner", "practice"


class LabScreen(TextScreen):
    """Standing of one learner; keys lead to drills, thresholds and the class."""

    BEGINS = "Reading the lab's books ..."
    BINDINGS = [
        Binding("space,enter", "suggested", "Suggested", key_display="Space"),
        Binding("d", "drill", "Drill"),
        Binding("t", "threshold", "Threshold"),
        Binding("w", "learner", "Who learns"),
        Binding("p", "headphones", "Headphones"),
        Binding("i", "table", "The class"),
        Binding("c", "class_file", "Class as CSV", show=False),
        Binding("D", "delete", "Delete learner", show=False),
    ]

    def __init__(self) -> None:
        super().__init__()
        self.learner: Learner | None = None
        self._suggestion: Suggestion | None = None

    def way(self) -> tuple[str, ...]:
        return ("lab", self.learner.name) if self.learner else ("lab",)

    def on_mount(self) -> None:
        self.load()

    def on_screen_resume(self) -> None:
        """Back from a drill: the standing has changed."""
        self.load()

    @property
    def root(self) -> Path:
        return self.bay.services.lab_root()

    def load(self) -> None:
        self.start(self._load, "load")

    async def _load(self) -> None:
        try:
            row, self._suggestion = await in_thread(standing, self.root, self.learner)
        except HisswayError as e:
            self.put(shown(f"× {e}", "$error"))
            return
        self.learner = row.learner if row else None
        self._job_changed(self.bay.job)
        self.put(page(row, self._suggestion))

    def action_learner(self) -> None:
        options = [(learner.id, plain(learner.name), "") for learner in self._learners()]
        options.append((NEW, "a new learner", ""))
        self.ask(PickScreen("Who learns?", options, self.learner.id if self.learner else ""), self._chosen)

    def _chosen(self, chosen: str) -> None:
        if chosen == NEW:
            hint = "a first name or a nickname will do"
            self.ask(OneLineScreen("Name of the learner", hint=hint, most=60), self._named)
        else:
            self.learner = next((x for x in self._learners() if x.id == chosen), None)
            self.load()

    def _learners(self) -> tuple[Learner, ...]:
        from listen.lab.learners import list_learners

        with self.refusing():
            return list_learners(self.root)
        return ()

    def _named(self, name: str) -> None:
        from listen.lab.learners import create_learner

        self.learner = create_learner(self.root, name)
        self.load()

    def action_delete(self) -> None:
        if self.learner is None:
            return
        from listen.lab.learners import delete_learner

        learner = self.learner

        def delete(answer: str) -> None:
            if answer == "yes":
                delete_learner(self.root, learner)
                self.learner = None
                self.load()

        options = [("no", "keep", ""), ("yes", "delete the name, every answer and every threshold", "")]
        self.ask(PickScreen(f"Delete {plain(learner.name, 60)}?", options), delete)

    def action_suggested(self) -> None:
        """The suggested drill, or take a learner in first."""
        if self.learner is None:
            self.action_learner()
        elif self._suggestion is not None and self._suggestion.drill is not None:
            self._drill(self._suggestion.drill.id)
        elif self._suggestion is not None:
            self._practise(self._suggestion.pool, self._suggestion.title)

    def action_drill(self) -> None:
        from listen.lab.training.drills import list_drills

        if self.learner is None:
            self.action_learner()
            return
        options = [(PRACTICE, "Fresh rounds of all paths", "never the same twice, each as plain as you need it")]
        with self.refusing():
            drills = list_drills(self.root)
            options += [
                (d.id, plain(d.title, 60), f"{d.level}, {d.rounds} rounds. {plain(d.about, 120)}") for d in drills
            ]
        self.ask(PickScreen("Which drill?", options), self._drill)

    def _drill(self, drill: str) -> None:
        from listen.lab.training.next_drill import ALL
        from tui.screens.lab.standing import sit_down

        if drill == PRACTICE:
            self._practise(ALL, "Fresh rounds of all paths")
        elif self.learner is not None:
            self.show("drill", self.learner.name, partial(sit_down, self.root, self.learner, drill))

    def _practise(self, pool: tuple[str, ...], title: str) -> None:
        from listen.lab.training.session import practise

        if self.learner is not None:
            self.show("drill", self.learner.name, partial(practise, self.root, self.learner, pool, title))

    def action_headphones(self) -> None:
        self._check(lambda: None)

    def _check(self, then: Callable[[], None]) -> None:
        if (learner := self.learner) is None:
            self.action_learner()
            return

        def checked(how: Literal["passed", "failed", "left-out"]) -> None:
            self.bay.headphones_checked[learner.id] = {"passed": True, "failed": False}.get(how)
            then()

        self.ask(made("headphones", learner.name), checked)

    def action_threshold(self) -> None:
        """Check the headphones once, choose a background, find the ear's threshold."""
        if self.learner is not None and self.learner.id in self.bay.headphones_checked:
            self._threshold()
        else:
            self._check(self._threshold)

    def _threshold(self) -> None:
        from listen.lab.ear.threshold import backgrounds

        learner = self.learner
        if learner is None:
            return

        heard = self.bay.headphones_checked.get(learner.id)
        options = [(b, plain(b), "") for b in backgrounds()]
        self.ask(
            PickScreen("Over which background?", options),
            lambda name: self.show("threshold", self.root, learner, name, heard),
        )

    def action_table(self) -> None:
        self.start(self._table, "load")

    async def _table(self) -> None:
        lines = await in_thread(class_lines, self.root)
        head = shown("The class (c writes it as CSV)", "bold $accent")
        self.put(Content("\n").join([head, *(shown(line) for line in lines)]))

    def action_class_file(self) -> None:
        self.start(self._class_file, "load")

    async def _class_file(self) -> None:
        path = await in_thread(class_file, self.root)
        self.tell(f"Written: {path}")
