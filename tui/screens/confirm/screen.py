"""Confirm: leads the supervisor through hearing, calling, seeing, deciding and signing."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from listen.errors import HisswayError
from listen.jobs.events import Confirmed, Overruled, Payload, PersonChosen, SentBack
from listen.jobs.walk import round_points
from tui.screens.calls import SEVERAL, ask_paths, call_event, calls
from tui.screens.confirm import phases
from tui.screens.confirm.blind import BlindScreen, blind_pairs
from tui.screens.confirm.signing import Signing
from tui.screens.rungs import rungs
from tui.widgets.banner import Banner
from tui.widgets.ladder import Ladder
from tui.widgets.pairs import Pairs
from tui.widgets.panels import Choice, ChoicePanel, Entry, EntryPanel

if TYPE_CHECKING:
    from listen.jobs.job import Job
    from listen.trade.points import Point

CHOICES = {"tech": phases.SHOW, "decide": phases.DECISIONS, "kind": phases.KINDS}
ENTRIES = {"name": phases.NAME, "overrule-reason": phases.REASON, "back-reason": phases.REASON, "sign": phases.NAME}
BLIND = ("name", "hear", "call", "tech")
"""Phases in which no number is on the screen."""


class ConfirmScreen(BlindScreen):
    """One round before its supervisor."""

    CSS_PATH = "confirm.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c", "call", "Call by ear"),
    ]

    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {
        "call": ("hear",),
        "match": ("hear", "tech", "decide"),
        "silence": ("hear", "call", "tech", "decide"),
    }

    def __init__(self, round_id: str) -> None:
        super().__init__(round_id)
        self.phase = "name"
        self.name_typed = ""
        self._paths: tuple[str, ...] = ()
        self._point, self._kind = "", ""

    def body(self) -> ComposeResult:
        """Banner, what is asked, pairs, ladder."""
        yield Banner()
        yield ChoicePanel(id="choice")
        yield EntryPanel(id="entry")
        yield Pairs()
        yield Ladder()

    def on_mount(self) -> None:
        """Begin where this round stands."""
        record = self.record
        self._signing = Signing(self.bay.services)
        self.name_typed = self.bay.job.people.get("supervisor", "") if self.bay.job else ""
        self.query_one(Pairs).pairs = blind_pairs(record, self.seed)
        self.phase = "done" if record.signed else "hear" if self.name_typed else "name"
        super().on_mount()

    # ------------------------------------------------------------------ showing

    def show_job(self, job: Job) -> None:
        """Show the phase."""
        record, phase = self.record, self.phase
        points = round_points(job, record)
        key = self._signing.words() if phase in ("decided", "sign") else ""
        self.query_one(Banner).say = phases.phase_say(phase, record, self.name_typed, key)
        pairs, ladder = self.query_one(Pairs), self.query_one(Ladder)
        pairs.display = phase in ("hear", "call", "tech", "decide")
        ladder.display = phase not in BLIND
        ladder.rungs = rungs(points, record, {}, {}) if phase not in BLIND else ()
        choice, entry = self.query_one(ChoicePanel), self.query_one(EntryPanel)
        choices = self._choices()
        choice.display, entry.display = bool(choices), phase in ENTRIES
        if choices:
            choice.show(choices, phase, sure=phase == "call")
            choice.focus()
        elif phase in ENTRIES:
            entry.show(self._entries(phase), "Enter goes on, Esc goes back.")
        elif phase == "hear":
            pairs.focus()
        else:
            ladder.focus()

    def _choices(self) -> tuple[Choice, ...]:
        if self.phase == "decided":
            return self._signing.choices()
        made = {"call": calls, "point": phases.point_choices}
        return made[self.phase](self._points()) if self.phase in made else CHOICES.get(self.phase, ())

    def _points(self) -> tuple[Point, ...]:
        assert self.bay.job is not None
        return round_points(self.bay.job, self.record)

    def _entries(self, phase: str) -> tuple[Entry, ...]:
        return tuple(replace(e, value=self.name_typed if phase == "name" else "") for e in ENTRIES[phase])

    def go(self, phase: str) -> None:
        """Show another phase."""
        self.query_one(EntryPanel).clear()
        self.phase = phase
        self.refresh_bindings()
        self._job_changed(self.bay.job)

    def write(self, *events: Payload, then: str) -> None:
        """Put a decision into the journal, and go on."""
        try:
            self.bay.write(*events)
        except HisswayError as e:
            self.refuse(e)
            return
        self.go(then)

    # ------------------------------------------------------------------ answers

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        choice, me = event.choice, self.name_typed
        if self.phase == "call":
            self._call(choice, sure=event.sure)
        elif self.phase == "decide" and choice == "agree":
            self.write(Confirmed(round_id=self.round_id, name=me, blind=self._blind()), then="decided")
        elif choice == "overrule":
            ask_paths(self, "Which path is it, or which?", self._points(), self._overrule, self._paths)
        elif self.phase == "point":
            self._point = choice
            self.go("kind")
        elif self.phase == "kind":
            self._kind = choice
            self.go("back-reason")
        elif choice == "later":
            self.dismiss()
        elif choice == "key":
            self._signing.with_key = not self._signing.with_key
            self.go("decided")
        else:
            self.go({"numbers": "decide", "back": "point", "sign": "sign"}[choice])

    def _call(self, called: str | tuple[str, ...], *, sure: float | None) -> None:
        """The supervisor's own call by ear."""
        if called == SEVERAL:
            ask_paths(self, "Which paths do you hear?", self._points(), partial(self._call, sure=sure))
        else:
            said = call_event(self.round_id, called, self.name_typed, role="supervisor", sure=sure)
            self.write(said, then="tech")

    def _overrule(self, paths: tuple[str, ...]) -> None:
        """Which paths it is instead."""
        self._paths = paths
        self.go("overrule-reason")

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        text = next(iter(event.values.values()))
        if not text:
            self.query_one(EntryPanel).wrong("Nothing was typed; it will stand under the report, so it is needed.")
        elif self.phase == "name":
            self.name_typed = text
            self.write(PersonChosen(role="supervisor", name=text), then="hear")
        elif self.phase == "overrule-reason":
            said = Overruled(
                round_id=self.round_id, name=self.name_typed, paths=self._paths, reason=text, blind=self._blind()
            )
            self.write(said, then="decided")
        elif self.phase == "back-reason":
            asked = SentBack(
                round_id=self.round_id,
                name=self.name_typed,
                point=self._point,
                clip_kind=self._kind,
                reason=text,
                blind=self._blind(),
            )
            self.write(asked, then="done")
        elif self.phase == "sign":
            self._sign(text)

    def _sign(self, name: str) -> None:
        opened = self.bay.open_job
        if opened is None:
            return
        try:
            self.bay.job = self._signing.sign(opened, self.round_id, name)
        except HisswayError as e:
            self.query_one(EntryPanel).wrong(str(e))
            return
        self.go("done")

    def _blind(self) -> bool:
        """Whether this supervisor called before any number was shown here."""
        call = self.record.call("supervisor")
        return call is not None and not call.declined

    # ------------------------------------------------------------------ from phase to phase

    def action_call(self) -> None:
        """From hearing to calling."""
        if self.phase == "hear":
            self.playback.stop()
            self.go("tech" if self.record.call("supervisor") else "call")

    def action_back(self) -> None:
        """One phase back where nothing was written, else leave."""
        back = {
            "call": "hear",
            "overrule-reason": "decide",
            "point": "decide",
            "kind": "point",
            "back-reason": "kind",
            "sign": "decided",
        }
        if self.phase in back:
            self.go(back[self.phase])
        else:
            super().action_back()
