"""Confirm: leads the supervisor through hearing, calling, seeing, deciding and signing."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from secrets import token_hex
from typing import Any, ClassVar

from msgspec import structs
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding

from listen.errors import HisswayError, JobChanged
from listen.jobs.events import Confirmed, Overruled, Payload, SentBack
from listen.jobs.hearing import first_call, heard, numbers_seen, same_person
from listen.jobs.job import Job
from listen.jobs.walk import round_points
from listen.trade.points import Point
from tui.screens.calls import SEVERAL, ask_paths, call_event, calls
from tui.screens.confirm import phases
from tui.screens.confirm.blind import BlindScreen, blind_pairs
from tui.screens.confirm.phases import CHOICES as SIGN_CHOICES
from tui.screens.confirm.phases import key_words, sign
from tui.screens.point_rows import point_rows
from tui.widgets.banner import Banner
from tui.widgets.entries import EntryPanel
from tui.widgets.ladder import Ladder
from tui.widgets.pairs import Pairs
from tui.widgets.panels import Choice, ChoicePanel

CHOICES = {"tech": phases.SHOW, "decide": phases.DECISIONS, "kind": phases.KINDS}
ENTRIES = {"name": phases.NAME, "overrule-reason": phases.REASON, "back-reason": phases.REASON, "sign": phases.NAME}


class ConfirmScreen(BlindScreen):
    """One round before its supervisor."""

    CSS_PATH = "confirm.tcss"
    BINDINGS = [Binding("c", "call", "Call by ear"), Binding("w", "who", "Someone else")]

    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {
        "call": ("hear",),
        "who": ("hear", "decide", "decided", "done"),
        "match": ("hear", "tech", "decide"),
        "silence": ("hear", "call", "tech", "decide"),
    }

    PAIRS = ("hear", "call", "tech", "decide")
    BACK = {
        "call": "hear",
        "overrule-reason": "decide",
        "point": "decide",
        "kind": "point",
        "back-reason": "kind",
        "sign": "decided",
    }

    def __init__(self, round_id: str) -> None:
        super().__init__(round_id)
        self.phase = "name"
        self._paths: tuple[str, ...] = ()
        self._point, self._kind = "", ""
        self._numbers_were_up = False

    def body(self) -> ComposeResult:
        yield Banner()
        yield ChoicePanel(id="choice")
        yield EntryPanel(id="entry")
        yield Pairs()
        yield Ladder()

    def on_mount(self) -> None:
        record = self.record
        self.query_one(Pairs).pairs = blind_pairs(record, self.seed)
        sits = self.bay.sitting.role == "supervisor" and self.bay.sitting.name
        closed = record.signed and not record.changed_after_signing
        self.phase = "done" if closed else "hear" if sits else "name"

    @property
    def name_typed(self) -> str:
        """Who confirms: whoever sits here."""
        return self.bay.sitting.name

    def numbers(self, job: Job) -> tuple[str, ...]:
        """Numbers are shown from a certain phase on."""
        return () if self.phase in phases.BEFORE_NUMBERS else (self.round_id,)

    def _seen(self) -> bool:
        """Whether numbers of this round were shown to whoever sits here, now or in an earlier sitting."""
        sitting = self.bay.sitting
        return sitting.has_seen(self.job.id, self.round_id) or numbers_seen(self.record, sitting.name, sitting.id)

    def show_job(self, job: Job) -> None:
        record, phase = self.record, self.phase
        key = key_words(self.bay.services) if phase in ("decided", "sign") else ""
        say = phases.phase_say(phase, job, record, self.name_typed, key, seen=self._seen())
        ladder, entry, numbers = self.query_one(Ladder), self.query_one(EntryPanel), phase not in phases.BEFORE_NUMBERS
        ladder.display, entry.display = numbers, phase in ENTRIES
        ladder.point_rows = point_rows(self._points(), record, {}, {}) if numbers else ()
        if numbers:
            self.set_focus(ladder)
        self.put_up(say, self._choices(), phase, sure=phase == "call")
        if entry.display:
            value = self.name_typed if phase == "name" else ""
            entry.show(tuple(replace(e, value=value) for e in ENTRIES[phase]), "Enter goes on, Esc goes back.")

    def _choices(self) -> tuple[Choice, ...]:
        if self.phase == "decided":
            return SIGN_CHOICES
        made = {"call": calls, "point": phases.point_choices}
        return made[self.phase](self._points()) if self.phase in made else CHOICES.get(self.phase, ())

    def _points(self) -> tuple[Point, ...]:
        return round_points(self.job, self.record)

    def go(self, phase: str) -> None:
        self.query_one(EntryPanel).clear()
        self.phase = phase
        self.refresh_bindings()
        self._job_changed(self.bay.job)

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        choice = event.choice
        if self.phase == "call":
            self._call(choice, sure=event.sure)
        elif self.phase == "decide" and choice == "agree":
            self._decide(Confirmed(**self._by_me()), "decided")
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
        else:
            self.go({"numbers": "decide", "back": "point", "sign": "sign"}[choice])

    def _decide(self, event: Payload, then: str) -> bool:
        written = self.write(event)
        if written:
            self.go(then)
        return written

    def _call(self, called: str | tuple[str, ...], *, sure: float | None) -> None:
        if called == SEVERAL:
            ask_paths(self, "Which paths do you hear?", self._points(), partial(self._call, sure=sure))
        else:
            called_event = call_event(
                self.round_id, called, self.name_typed, before_numbers=not self._seen(), role="supervisor", sure=sure
            )
            if self._decide(structs.replace(called_event, sitting=self.bay.sitting.id), "tech"):
                self.reveal()

    def _overrule(self, paths: tuple[str, ...]) -> None:
        self._paths = paths
        self.go("overrule-reason")

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        text = next(iter(event.values.values()))
        if not text:
            self.query_one(EntryPanel).wrong("Nothing was typed; it will stand under the report, so it is needed.")
        elif self.phase == "name":
            self._sit(" ".join(text.split()))
        elif self.phase == "overrule-reason":
            self._decide(Overruled(paths=self._paths, reason=text, **self._by_me()), "decided")
        elif self.phase == "back-reason":
            self._decide(SentBack(point=self._point, clip_kind=self._kind, reason=text, **self._by_me()), "done")
        elif self.phase == "sign":
            self._sign(text)

    def _sign(self, name: str) -> None:
        if not same_person(name, self.name_typed):
            self.query_one(EntryPanel).wrong(f"{self.name_typed} sits here; Esc, then w lets someone else.")
            return
        self.start(partial(self._signed, partial(sign, self.bay.services, self.opened, self.round_id, name)), "sign")

    async def _signed(self, sign: Callable[[], Job]) -> None:
        """Sign beside the screen, after all that is on its way to the disk: a signature stands on the last of it."""
        try:
            await self.bay.written(sign)
        except JobChanged as e:  # what came in is looked at before anything is signed
            self.refuse(e)
            self.go("decide")
        except HisswayError as e:
            self.query_one(EntryPanel).wrong(str(e))
        else:
            self.go("done")

    def _by_me(self) -> dict[str, Any]:
        """What every decision says of who makes it; blind where a path was called by what was heard alone."""
        sitting = self.bay.sitting
        blind = heard(self.record, sitting.name, sitting.id).blind
        return {"round_id": self.round_id, "name": sitting.name, "blind": blind, "sitting": sitting.id}

    def _sit(self, name: str) -> None:
        """The supervisor sits here; another one than before hears the pairs in another order."""
        if not same_person(name, self.name_typed):
            self.seed = token_hex(4)
            self.query_one(Pairs).pairs = blind_pairs(self.record, self.seed)
        self.phase = "hear"
        self.bay.sit(name, "supervisor")
        if self._numbers_were_up:
            self.bay.sitting.shown(self.job.id, (self.round_id,), "confirm")
        self._numbers_were_up = False
        self.go("hear")

    def action_who(self) -> None:
        """Someone else confirms; what was on the screen until now they have seen."""
        self._numbers_were_up = self.phase not in phases.BEFORE_NUMBERS
        self.playback.stop()
        self.go("name")

    def action_call(self) -> None:
        if self.phase == "hear":
            self.playback.stop()
            called, _ = first_call(self.record, self.name_typed, self.bay.sitting.id)
            if called is not None:
                self.reveal()
            self.go("tech" if called else "call")
