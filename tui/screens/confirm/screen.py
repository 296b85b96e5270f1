"""Confirm: leads the supervisor through hearing, calling, seeing, deciding and signing."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from listen.errors import HisswayError
from listen.jobs.events import Confirmed, Overruled, Payload, PersonChosen, SentBack
from listen.jobs.walk import round_points
from tui.bridge.playback import prepared
from tui.screens.confirm import phases
from tui.screens.hearing import HearingScreen
from tui.screens.round.asks import call_event, calls
from tui.screens.round.rungs import rungs
from tui.screens.ticks import TickScreen
from tui.widgets.banner import Banner
from tui.widgets.ladder import Ladder
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import Choice, ChoicePanel, Entry, EntryPanel

if TYPE_CHECKING:
    from listen.jobs.job import Job, RoundRecord
    from listen.signal.clip import Clip

CHOICES = {"tech": phases.SHOW, "decide": phases.DECISIONS, "kind": phases.KINDS, "decided": phases.SIGN}
ENTRIES = {"name": phases.NAME, "overrule-reason": phases.REASON, "back-reason": phases.REASON, "sign": phases.NAME}
BLIND = ("name", "hear", "call", "tech")
"""Phases in which no number is on the screen."""


class ConfirmScreen(HearingScreen[None]):
    """One round before its supervisor."""

    CSS_PATH = "confirm.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c", "call", "Call by ear"),
        Binding("m", "match", "Levels"),
    ]

    def __init__(self, round_id: str) -> None:
        super().__init__()
        self.round_id = round_id
        self.phase = "name"
        self.name_typed = ""
        self._seed = secrets.token_hex(4)
        self._matched = True
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
        self.name_typed = self.bay.job.people.get("supervisor", "") if self.bay.job else ""
        self.query_one(Pairs).pairs = phases.blind_pairs(record, self._seed)
        self.phase = "done" if record.signed else "hear" if self.name_typed else "name"
        super().on_mount()

    @property
    def record(self) -> RoundRecord:
        """The round."""
        assert self.bay.job is not None
        return self.bay.job.round(self.round_id)

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self.bay.job.title, f"cylinder {self.record.cylinder}", "confirm") if self.bay.job else ()

    # ------------------------------------------------------------------ showing

    def show_job(self, job: Job) -> None:
        """Show the phase."""
        record, phase = self.record, self.phase
        points = round_points(job, record)
        self.query_one(Banner).say = phases.phase_say(phase, record, self.name_typed)
        pairs, ladder = self.query_one(Pairs), self.query_one(Ladder)
        pairs.display = phase in ("hear", "call", "tech", "decide")
        ladder.display = phase not in BLIND
        ladder.rungs = rungs(points, record, {}, {}) if phase not in BLIND else ()
        choice, entry = self.query_one(ChoicePanel), self.query_one(EntryPanel)
        choices = self._choices(job)
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

    def _choices(self, job: Job) -> tuple[Choice, ...]:
        points = round_points(job, self.record)
        made = {"call": calls, "point": phases.point_choices}
        return made[self.phase](points) if self.phase in made else CHOICES.get(self.phase, ())

    def _entries(self, phase: str) -> tuple[Entry, ...]:
        return tuple(replace(e, value=self.name_typed if phase == "name" else "") for e in ENTRIES[phase])

    def go(self, phase: str) -> None:
        """Show another phase."""
        self.query_one(EntryPanel).clear()
        self.phase = phase
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
            self.write(call_event(self.round_id, choice, me, role="supervisor", sure=event.sure), then="tech")
        elif self.phase == "decide" and choice == "agree":
            self.write(Confirmed(round_id=self.round_id, name=me, blind=self._blind()), then="decided")
        elif choice == "overrule":
            self._ask_paths()
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

    def _ask_paths(self) -> None:
        """Which paths it is instead: one or several."""

        def keep(paths: tuple[str, ...] | None) -> None:
            if paths:
                self._paths = paths
                self.go("overrule-reason")

        assert self.bay.job is not None
        choices = phases.path_choices(round_points(self.bay.job, self.record))
        self.app.push_screen(TickScreen("Which path is it, or which?", choices, self._paths), keep)

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
        from listen.jobs.exchange.sign import sign_round

        opened = self.bay.open_job
        if opened is None:
            return
        try:
            self.bay.job = sign_round(opened, self.round_id, name=name, key=self.bay.services.shop_key())
        except HisswayError as e:
            self.query_one(EntryPanel).wrong(str(e))
            return
        self.go("done")

    def _blind(self) -> bool:
        """Whether this supervisor called before any number was shown here."""
        call = self.record.call("supervisor")
        return call is not None and not call.declined

    # ------------------------------------------------------------------ hearing

    @on(Pairs.Play)
    def _play_pair(self, event: Pairs.Play) -> None:
        self.start(partial(self.play_pair, event.pair, self._load(event.pair)), "play")

    def _load(self, pair: Pair) -> Callable[[], tuple[Sequence[Clip], float]]:
        """Quiet and air at a point in an order that is not told."""
        opened = self.bay.open_job
        assert opened is not None
        clips = [self.record.live_clips(pair.id, walk)[-1].id for walk in ("quiet", "air")]
        if phases.swapped(self.record, self._seed, pair.id):
            clips.reverse()
        return partial(prepared, [opened.clip_path(c) for c in clips], matched=self._matched)

    def action_match(self) -> None:
        """Matched or own levels."""
        self._matched = not self._matched
        self.tell("Pairs are played at one level." if self._matched else "Pairs are played at their own levels.")

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
