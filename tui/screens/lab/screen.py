"""The lab's desk: who learns, how they stand, and what to do next."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

from textual.binding import Binding
from textual.content import Content

from listen.errors import HisswayError
from listen.lab.ear.playback import CAUTION
from listen.lab.ear.threshold import backgrounds
from listen.lab.learners import Learner, create_learner, delete_learner, list_learners
from listen.lab.training import instructor
from listen.lab.training.drills import list_drills
from listen.lab.training.next_drill import ALL, Suggestion, suggest
from listen.lab.training.session import Session, practise, sit_down
from listen.voice.figures import counted
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import TextScreen, asks, in_background, made
from tui.screens.dialog import OneLineScreen

NEW, PRACTICE = "new learner", "practice"
FRESH = "Fresh rounds of all paths"


class LabScreen(TextScreen):
    """Standing of one learner; keys lead to drills, thresholds and the class."""

    AT_THE_BAY = False
    BEGINS = "Reading the lab's books ..."
    BINDINGS = [
        Binding("space,enter", "suggested", "Suggested", key_display="Space"),
        Binding("d", "drill", "Drill"),
        Binding("t", "threshold", "Threshold"),
        Binding("w", "learner", "Who learns"),
        Binding("p", "headphones", "Headphones"),
        Binding("i", "table", "The class"),
        Binding("D", "delete", "Delete learner", show=False),
    ]

    learner: Learner | None = None
    _suggestion: Suggestion | None = None
    _class_shown = False

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

    @in_background("load")
    async def load(self) -> None:
        self._class_shown = False
        try:
            row, self._suggestion = await in_thread(standing, self.root, self.learner)
        except HisswayError as e:
            self.put(shown(f"× {e}", "$error"))
            return
        self.learner = row.learner if row else None
        self._job_changed(self.bay.job)
        self.put(page(row, self._suggestion))

    @asks
    async def action_learner(self) -> None:
        await self._who_learns()

    async def _who_learns(self) -> None:
        learners = list_learners(self.root)
        options = [*((learner.id, plain(learner.name)) for learner in learners), (NEW, "a new learner")]
        here = self.learner.id if self.learner else ""
        chosen: str | None = NEW
        if learners:
            chosen = await self.pick("Who learns?", options, here)
        if chosen == NEW:
            hint = "a first name or a nickname will do"
            if name := await self.answer(OneLineScreen("Name of the learner", hint=hint, most=60)):
                self.learner = create_learner(self.root, name)
        elif chosen is not None:
            self.learner = next((x for x in learners if x.id == chosen), None)
        self.load()

    @asks
    async def action_delete(self) -> None:
        if (learner := self.learner) is None:
            return
        options = [("no", "keep"), ("yes", "delete the name, every answer and every threshold")]
        if await self.pick(f"Delete {plain(learner.name, 60)}?", options) == "yes":
            delete_learner(self.root, learner)
            self.learner = None
            self.load()

    def action_suggested(self) -> None:
        if self.learner is None:
            self.action_learner()
        elif self._suggestion is not None and self._suggestion.drill is not None:
            self._sit(sit_down, self._suggestion.drill.id)
        elif self._suggestion is not None:
            self._sit(practise, self._suggestion.pool, self._suggestion.title)

    @asks
    async def action_drill(self) -> None:
        if self.learner is None:
            await self._who_learns()
        if self.learner is None:
            return
        options = [(PRACTICE, FRESH, "never the same twice, each as plain as you need it")]
        with self.refusing():
            drills = list_drills(self.root)
            options += [
                (d.id, plain(d.title, 60), f"{d.level}, {counted(d.rounds, 'round')}. {plain(d.about, 120)}")
                for d in drills
            ]
        drill = await self.pick("Which drill?", options)
        if drill == PRACTICE:
            self._sit(practise, ALL, FRESH)
        elif drill:
            self._sit(sit_down, drill)

    def _sit(self, sit: Callable[..., Session], *about: object) -> None:
        if self.learner is not None:
            self.show("drill", self.learner.name, partial(sit, self.root, self.learner, *about))

    @asks
    async def action_headphones(self) -> None:
        await self._headphones()

    async def _headphones(self) -> bool:
        """Check the headphones, or leave that out; False where it is to be asked again, or nobody learns."""
        if (learner := self.learner) is None:
            await self._who_learns()
            return False
        how = await self.answer(made("headphones", learner.name))
        if how is not None:
            self.bay.headphones_checked[learner.id] = {"passed": True, "failed": False}.get(how)
        return how is not None

    @asks
    async def action_threshold(self) -> None:
        learner, checked = self.learner, self.bay.headphones_checked
        if (learner is None or learner.id not in checked) and not await self._headphones():
            return
        options = [(b, plain(b)) for b in backgrounds()]
        if learner and (background := await self.pick("Over which background?", options)):
            self.show("threshold", self.root, learner, background, checked.get(learner.id))

    @in_background("load")
    async def action_table(self) -> None:
        lines = await in_thread(class_page, self.root, self.size.width - self.BESIDE)
        head = shown("The class (hissway lab export --class writes it as CSV)", "bold $accent")
        self.put(Content("\n").join([head, *map(shown, lines)]))
        self._class_shown = True

    def on_resize(self) -> None:
        if self._class_shown:
            self.action_table()


def standing(root: Path, learner: Learner | None) -> tuple[instructor.LearnerRow | None, Suggestion | None]:
    """The learner asked for, else who was here last; None where nobody learns. Raises what the lab raises."""
    asked = next((k for k in list_learners(root) if learner is not None and k.id == learner.id), None)
    chosen = asked or instructor.last_here(root)
    if chosen is None:
        return None, None
    return instructor.learner_row(root, chosen), suggest(root, chosen)


def page(row: instructor.LearnerRow | None, suggestion: Suggestion | None) -> Content:
    if row is None:
        return Content("\n").join(
            [shown("Nobody learns here yet.", "bold"), shown("Press w and type a name: that is all."), shown(CAUTION)]
        )
    parts = [shown(line) for line in instructor.score_lines(row)]
    if suggestion is not None:
        what = plain(suggestion.title, 120)
        parts += [shown(""), Content.assemble(("Next: ", "bold $accent"), (what, "bold"), f"\n{plain(suggestion.why)}")]
    return Content("\n").join([*parts, shown(""), shown(CAUTION, "$warning")])


def class_page(root: Path, columns: int) -> list[str]:
    """The class, a line or two a learner; then what all find hardest. Raises what the lab raises."""
    if not (table := instructor.class_table(root)):
        return ["No learners yet. Press w to add one."]
    head = instructor.CLASS_HEAD if columns >= instructor.ROW else instructor.SHORT_HEAD
    rows = (line for row in table for line in instructor.class_row(row, columns))
    return [head, *rows, "", *instructor.class_lines(instructor.class_focus(root))]
