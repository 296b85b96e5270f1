"""Questions that come between steps: why a point is left out, is a doubtful figure right, what of a left-over take."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from listen.errors import HisswayError
from listen.jobs.events import CautionAcknowledged, PointSkipped, StepPassed
from tui.screens.calls import SEVERAL, call_event
from tui.screens.round import asks
from tui.widgets.panels import Choice, ChoicePanel

if TYPE_CHECKING:
    from listen.jobs.folder.parts import Partial
    from tui.screens.round.desk import Desk
    from tui.screens.round.host import Host

RIGHT = (Choice("y", "yes", "yes, that is what it reads"), Choice("n", "no", "no, type it again"))


class Answers:
    """Holds what is being asked out of turn; turns every answer into events."""

    def __init__(self, screen: Host) -> None:
        self._screen = screen
        self._about = ""
        self._values: dict[str, str] = {}
        self._leftover: Partial | None = None
        self.asking = ""
        """The question in one sentence; empty where the step itself asks."""
        self.look_for_leftovers()

    def show(self, desk: Desk) -> bool:
        """Put the question on the desk, if there is one."""
        choices = {"skip": self._skips(), "doubt": RIGHT, "leftover": asks.LEFTOVER}.get(self._about)
        if choices is None:
            return False
        desk.choice(choices, f"{self._about}: {self.asking}")
        return True

    def drop(self) -> bool:
        """Take the question back; False where there was none (a left-over take must be answered)."""
        if self._about in ("", "leftover"):
            return False
        self._about, self.asking = "", ""
        return True

    def ask_why_skip(self) -> None:
        """Ask why the present step is left out."""
        step = self._screen.step()
        what = f"the {step.point.replace('-', ' ')} in this walk" if step.kind == "clip" else f"this step ({step.id})"
        self._about, self.asking = "skip", f"Why is {what} left out?"

    def _skips(self) -> tuple[Choice, ...]:
        in_walk = self._screen.step().kind == "clip"
        return (*asks.SKIPS[:-1], *((asks.WHOLE_WALK,) if in_walk else ()), asks.SKIPS[-1])

    def look_for_leftovers(self) -> None:
        """Offer a take of this round that was cut short."""
        opened = self._screen.bay.open_job
        mine = [p for p in opened.partials() if p.round_id == self._screen.round_id] if opened else []
        if mine:
            self._leftover, self._about = mine[0], "leftover"
            at = f"{mine[0].point.replace('-', ' ')}, {mine[0].clip_kind}"
            self.asking = f"A take was cut short ({at}); what had arrived is still there. What is to become of it?"

    def chosen(self, event: ChoicePanel.Chosen) -> None:
        """An answer came."""
        about = self._about or event.panel.about
        answers: dict[str, Callable[[str], None]] = {
            "skip": self._skip,
            "doubt": self._doubt,
            "leftover": self._left,
            "bubbles": lambda c: self._write(asks.bubbles_event(self._screen.round_id, c)),
            "call": partial(self._call, sure=event.sure),
        }
        answers[about](event.choice)
        self._screen.refresh_round()

    def entered(self, values: dict[str, str]) -> None:
        """Figures came; a doubt is asked before they are kept."""
        self._values = values
        self._enter(sure=False)

    def acknowledged(self) -> None:
        """The cautions were read."""
        self._write(CautionAcknowledged(caution=self._screen.step().id, round_id=self._screen.round_id))

    def _enter(self, *, sure: bool) -> None:
        job = self._screen.bay.job
        assert job is not None
        try:
            events, doubts = asks.readings(self._values, job, self._screen.round_id, sure=sure)
        except HisswayError as e:
            self._screen.wrong(str(e))
            return
        if doubts:
            self._about, self.asking = "doubt", " ".join(d.text for d in doubts)
            self._screen.refresh_round()
        else:
            self._write(*events)

    def _doubt(self, choice: str) -> None:
        self._about, self.asking = "", ""
        if choice == "yes":
            self._enter(sure=True)

    def _skip(self, choice: str) -> None:
        step, round_id = self._screen.step(), self._screen.round_id
        self._about, self.asking = "", ""
        if choice == "walk":
            self._write(StepPassed(round_id=round_id, step=step.id, reason="walk left out"))
        elif choice and step.kind == "clip":
            self._write(PointSkipped(round_id=round_id, point=step.point, reason=choice, walk=step.walk))
        elif choice:
            self._write(StepPassed(round_id=round_id, step=step.id, reason=choice))

    def _call(self, choice: str, *, sure: float | None) -> None:
        if choice == SEVERAL:
            self._screen.ask_several(partial(self._called, sure=sure))
        else:
            self._called(choice, sure=sure)

    def _called(self, called: str | tuple[str, ...], *, sure: float | None) -> None:
        job = self._screen.bay.job
        name = job.people.get("tech", "") if job else ""
        self._write(call_event(self._screen.round_id, called, name, before_numbers=True, sure=sure))

    def _left(self, choice: str) -> None:
        opened, part = self._screen.bay.open_job, self._leftover
        self._about, self.asking, self._leftover = "", "", None
        if opened is None or part is None:
            return
        try:
            job = opened.keep(part, recovered=True) if choice == "keep" else opened.drop(part)
        except HisswayError as e:
            self._screen.tell(e, bad=True)
            return
        self._screen.bay.job = job
        self.look_for_leftovers()

    def _write(self, *events: object) -> None:
        self._screen.write(*events)  # type: ignore[arg-type]
