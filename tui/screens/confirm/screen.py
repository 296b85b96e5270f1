"""Confirm: leads the supervisor through hearing, calling, seeing, deciding and signing."""

from dataclasses import replace
from functools import partial
from secrets import token_hex
from typing import Any, ClassVar

from textual import on
from textual.binding import Binding

from listen.errors import HisswayError, JobChanged
from listen.jobs.events import ByEarCalled, Confirmed, Overruled, Payload, SentBack
from listen.jobs.exchange.sign import sign_round
from listen.jobs.hearing import first_call, heard, numbers_seen, pair_at, same_person
from listen.jobs.job import Job
from listen.jobs.walk import round_points
from listen.trade.points import Point
from tui.screens.base import asks, in_background
from tui.screens.calls import answered, calls, paths_asked, said
from tui.screens.confirm import phases
from tui.screens.confirm.blind import blind_pairs, load_pair, swapped
from tui.screens.confirm.phases import key_words, shop_key
from tui.screens.dialog import OneLineScreen
from tui.screens.hearing import HearingScreen
from tui.screens.point_rows import point_rows
from tui.widgets.banner import Banner
from tui.widgets.ladder import Ladder
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import ChoicePanel


class ConfirmScreen(HearingScreen[None]):
    """One round before its supervisor."""

    HERE = "confirm"
    BODY = (Banner, ChoicePanel, Pairs, Ladder)
    BINDINGS = [
        Binding("m", "match", "Levels"),
        Binding("c", "call", "Call by ear"),
        Binding("w", "who", "Someone else"),
    ]

    PAIRS = ("hear", "call", "tech", "decide")
    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {
        "play": PAIRS,
        "call": ("hear",),
        "who": ("hear", "decide", "decided", "done"),
        "match": ("hear", "tech", "decide"),
        "silence": PAIRS,
    }

    BACK = {"call": "hear"}

    def __init__(self, round_id: str) -> None:
        super().__init__(round_id)
        self.phase = "name"
        self.seed = token_hex(4)
        """Of the order in which pairs and clips stand."""
        self._matched = True
        self._numbers_were_up = False

    def on_mount(self) -> None:
        record = self.record
        self.query_one(Pairs).pairs = blind_pairs(record, self.seed)
        sits = self.bay.sitting.role == "supervisor" and self.bay.sitting.name
        closed = record.signed and not record.changed_after_signing
        self.phase = "done" if closed else "hear" if sits else "name"
        if self.phase == "name":
            self._ask_who()

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
        key = key_words(self.bay.services) if phase == "decided" else ""
        say = phases.phase_say(phase, record, self.name_typed, key, seen=self._seen())
        ladder, numbers = self.query_one(Ladder), phase not in phases.BEFORE_NUMBERS
        ladder.display = numbers
        ladder.point_rows = point_rows(self._points(), record, {}, {}) if numbers else ()
        if numbers:
            self.set_focus(ladder)
        choices = calls(self._points()) if phase == "call" else phases.CHOICES.get(phase, ())
        self.put_up(say, choices, phase, sure=phase == "call")

    def _points(self) -> tuple[Point, ...]:
        return round_points(self.job, self.record)

    def go(self, phase: str) -> None:
        self.phase = phase
        self.refresh_bindings()
        self._job_changed(self.bay.job)

    @on(Pairs.Play)
    def _play_pair(self, event: Pairs.Play) -> None:
        at = event.pair.id
        kept = [(c.kept, self.opened.clip_path(c.id)) for c in pair_at(self.record, at)]
        load = partial(load_pair, kept, self._matched, swapped(self.record, self.seed, at))
        self.start(partial(self.play_pair, event.pair, load), "play")

    def was_heard(self, pair: Pair) -> None:
        """It counts for whoever sits here."""
        clips = tuple(c.id for c in pair_at(self.record, pair.id))
        # As they were played: what is told of the sitting is what was heard.
        order = clips[::-1] if swapped(self.record, self.seed, pair.id) else clips
        self.bay.sitting.played(self.job.id, self.round_id, pair.id, order)

    def reveal(self) -> None:
        """After the call: which of each two sounds had the air."""
        pairs, names = self.query_one(Pairs), ("air off", "air on")
        pairs.pairs = tuple(
            replace(p, clips=names[::-1] if swapped(self.record, self.seed, p.id) else names) for p in pairs.pairs
        )

    def action_match(self) -> None:
        self._matched = not self._matched
        self.tell("Pairs are played at one level." if self._matched else "Pairs are played at their own levels.")

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        if self.phase == "call":
            self._call(event.choice, event.sure)
        elif event.choice == "later":
            self.dismiss()
        elif event.choice == "numbers":
            self.go("decide")
        elif event.choice == "agree":
            self._decide(Confirmed(**self._by_me()), "decided")
        else:
            {"overrule": self._overrule, "back": self._send_back, "sign": self._sign}[event.choice]()

    def _decide(self, event: Payload, then: str) -> bool:
        written = self.write(event)
        if written:
            self.go(then)
        return written

    @asks
    async def _call(self, choice: str, sure: float | None) -> None:
        if not (called := await answered(self, choice, self._points())):
            return
        before = not self._seen()
        by: dict[str, Any] = {"name": self.name_typed, "role": "supervisor", "sitting": self.bay.sitting.id}
        event = ByEarCalled(round_id=self.round_id, before_numbers=before, **by, **said(called, sure))
        if self._decide(event, "tech"):
            self.reveal()

    @asks
    async def _overrule(self) -> None:
        paths = await paths_asked(self, "Which path is it, or which?", self._points())
        if paths and (reason := await self.answer(OneLineScreen("Why? One sentence that others will read."))):
            self._decide(Overruled(paths=paths, reason=reason, **self._by_me()), "decided")

    @asks
    async def _send_back(self) -> None:
        points = {str(i): p for i, p in enumerate(self._points()[:9], 1)}
        options = [(key, p.words) for key, p in points.items()]
        if (at := await self.pick("At which point is a clip missing?", options, keyed=True)) is None:
            return
        if (kind := await self.pick("Which clip?", phases.KINDS, keyed=True)) is None:
            return
        if reason := await self.answer(OneLineScreen("What should the tech do, and why? One sentence.")):
            where, what = points[at].id, phases.KIND_OF[kind]
            self._decide(SentBack(point=where, clip_kind=what, reason=reason, **self._by_me()), "done")

    @asks
    async def _ask_who(self) -> None:
        """Who confirms; where nobody says so nothing is shown."""
        name = await self.answer(OneLineScreen("Who confirms?", self.name_typed, how=phases.WHO, most=60))
        if name is None:
            self.dismiss()
        else:
            self._sit(" ".join(name.split()))

    @asks
    async def _sign(self) -> None:
        def same(name: str) -> None:
            if not same_person(name, self.name_typed):
                raise HisswayError(f"{self.name_typed} sits here; Esc, then w lets someone else.")

        title, how = phases.sign_words(self.job, self.record, self.name_typed, key_words(self.bay.services))
        if name := await self.answer(OneLineScreen(title, how=how, most=60, take=same)):
            self._signed(name)

    @in_background("sign")
    async def _signed(self, name: str) -> None:
        """Sign beside the screen, after all that is on its way to the disk: a signature stands on the last of it."""
        try:
            key, _ = shop_key(self.bay.services)
            await self.bay.written(partial(sign_round, self.opened, self.round_id, name=name, key=key))
        except JobChanged as e:  # what came in is looked at before anything is signed
            self.refuse(e)
            self.go("decide")
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
        self.silence()
        self.go("name")
        self._ask_who()

    def action_call(self) -> None:
        if self.phase == "hear":
            self.silence()
            called, _ = first_call(self.record, self.name_typed, self.bay.sitting.id)
            # Called already in this sitting: the first call counts, so nothing is asked twice.
            if called is not None:
                self.reveal()
            self.go("tech" if called else "call")
