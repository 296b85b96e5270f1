"""Round: shows the next step, what it asks for, and what every point says."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from textual.app import ComposeResult

from listen.errors import HisswayError
from listen.jobs.events import Payload
from listen.jobs.reference import beside
from listen.jobs.walk import Step, next_step, round_points
from listen.trade.cautions import cautions_for, defer
from tui.bridge.listener import Listener
from tui.screens.calls import ask_paths, calls
from tui.screens.round import asks
from tui.screens.round.aim import aimed
from tui.screens.round.answers import Answers
from tui.screens.round.course import Outcome
from tui.screens.round.desk import Desk
from tui.screens.round.doing import Doing
from tui.screens.round.keys import RoundKeys
from tui.screens.round.said import hush_words, idle_words, say, verdict_say, where
from tui.screens.rungs import rungs
from tui.widgets.banner import Banner, Say
from tui.widgets.countdown import Count, Countdown
from tui.widgets.ladder import Ladder, Mark
from tui.widgets.level_meter import LevelMeter
from tui.widgets.panels import EntryPanel

if TYPE_CHECKING:
    from listen.jobs.job import Job, RoundRecord

METER_PERIOD_S = 1 / 25
ABOVE_LADDER = 19
"""Lines needed besides the rows of the ladder."""
SHORT = 28
"""Below so many lines the banner keeps to what is new."""
TALL = 32
"""Lines from which the ladder stays while something is asked."""


class RoundScreen(RoundKeys):
    """One round; everything it shows follows from the job, the microphone and what is under way."""

    CSS_PATH = "round.tcss"

    def __init__(self, round_id: str) -> None:
        super().__init__()
        self.round_id = round_id
        self._listening_at = ("", "")

    def body(self) -> ComposeResult:
        """Banner, desk, ladder."""
        yield Banner()
        yield Desk()
        yield Ladder()

    def on_mount(self) -> None:
        """Open the microphone; the screen is there meanwhile."""
        services = self.bay.services
        self.listener = Listener(lambda: services.source(self.record.cylinder, self.bay.preferences.input_name))
        self.doing = Doing(self)
        self.answers = Answers(self)
        super().on_mount()
        self.listener.start()
        self.set_interval(METER_PERIOD_S, self._meter)
        self.call_after_refresh(services.warm)

    def on_unmount(self) -> None:
        """Let the microphone go."""
        self.listener.close()

    @property
    def record(self) -> RoundRecord:
        """The round as it is now."""
        assert self.bay.job is not None
        return self.bay.job.round(self.round_id)

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self.bay.job.title, f"cylinder {self.record.cylinder}") if self.bay.job else ()

    def step(self) -> Step:
        """What is due: the point chosen with the arrow keys, else what the job says."""
        assert self.bay.job is not None
        due = next_step(self.bay.job, self.round_id)
        return aimed(self.bay.job, self.round_id, self.other, self.other_kind, due) if self.other else due

    def numbers_may_be_seen(self) -> bool:
        """Only once the by-ear call was made or declined."""
        return self.record.call() is not None or "call" in self.record.passed

    # ------------------------------------------------------------------ showing

    def show_job(self, job: Job) -> None:
        """Show the round, and what is due in it."""
        if not any(r.id == self.round_id for r in job.rounds):
            return
        step = self.doing.running or self.step()
        self._show_ladder(job, step)
        self.query_one(Banner).say = self._say(step)
        self.query_one(LevelMeter).hush = hush_words(step, may_be_seen=self.numbers_may_be_seen())
        if self.doing.running is None:
            self._ask(step)
            self._listen_at(step)
        if step.kind == "verdict" and self.doing.judging_is_due():
            self.judge()

    def on_screen_resume(self) -> None:
        """Back from another screen: times or the round may have changed."""
        self.refresh_round()

    def on_resize(self) -> None:
        """What has room is shown."""
        self.refresh_round()

    def refresh_round(self) -> None:
        """Show again, the job being the same."""
        if self.bay.job is not None and self.is_attached:
            self.show_job(self.bay.job)

    def _show_ladder(self, job: Job, step: Step) -> None:
        ladder, record, doing = self.query_one(Ladder), self.record, self.doing
        live: dict[tuple[str, str], Mark] = {}
        if doing.mark is not None and doing.running is not None:
            live[step.point, step.walk] = doing.mark
        elif step.kind == "clip":
            live[step.point, step.walk] = Mark.NEXT
        drawn = rungs(round_points(job, record), record, live, doing.excess)
        ladder.rungs = drawn if self.numbers_may_be_seen() else tuple(r.hidden() for r in drawn)
        ladder.current = step.point
        ladder.tall = self.size.height >= ABOVE_LADDER + 2 * len(drawn)

    def _say(self, step: Step) -> Say:
        record, outcome = self.record, self.doing.outcome
        if asked := self.answers.asking:
            return Say(where(step, record.cylinder), asked, tone="caution")
        if step.kind == "done" and record.verdict is not None:
            verdict = record.verdict.result.verdict
            head = where(step, record.cylinder)
            if record.changed_after_signing:
                head = f"{head} · ! {record.changed_after_signing[-1]}"
            return verdict_say(verdict.text, verdict.next, head, outcome)
        busy = "Judging the round: a moment." if self.doing.judging else ""
        return say(step, record.cylinder, outcome, busy=busy, short=self.size.height < SHORT)

    def _ask(self, step: Step) -> None:
        desk, job = self.query_one(Desk), self.bay.job
        assert job is not None
        self.query_one(Countdown).idle = idle_words(step, self.record, self.bay.preferences, self._beside())
        self.query_one(Ladder).display = step.kind in ("clip", "verdict", "done") or self.size.height >= TALL
        if self.answers.show(desk):
            return
        points = round_points(job, self.record)
        if step.kind == "caution":
            more = cautions_for("radiator") if any(p.id == "radiator" for p in points) else ()
            desk.caution([(c.weight == "danger", c.words) for c in (*step.cautions, *more)], defer())
        elif step.kind in ("supply", "loss"):
            gauge = self.bay.services.gauge(self.record.cylinder) if step.kind == "loss" else ""
            desk.entry(
                asks.entries(step.id, job), f"{gauge} Enter goes on. Ctrl+S leaves it out with a reason.".strip()
            )
        elif step.kind == "bubbles":
            desk.choice(asks.BUBBLES, "bubbles")
        elif step.kind == "call":
            desk.choice(calls(points), "call", sure=True)
        else:
            desk.microphone(self.query_one(Ladder))

    def _beside(self) -> tuple[int, ...]:
        """Cylinders whose clips the tool chose as the sound reference."""
        if self.bay.job is None or self.record.verdict is None:
            return ()
        return beside(self.bay.job, self.round_id)

    def _listen_at(self, step: Step) -> None:
        """Aim a simulated microphone, and compare the live level with this point's quiet clip."""
        at = (step.point, step.walk) if step.kind == "clip" else ("", "")
        if at == self._listening_at:
            return
        self._listening_at = at
        if step.kind == "clip":
            self.listener.aim(step.point, step.clip_kind)
        self.start(partial(self._compare, step), "quiet")

    async def _compare(self, step: Step) -> None:
        quiets = self.record.live_clips(step.point, "quiet") if step.kind == "clip" and step.walk != "quiet" else ()
        self.listener.compare_with(None)
        if quiets:
            self.listener.compare_with(await self.doing.quiet_of(quiets[-1].id))

    def _meter(self) -> None:
        meter = self.query_one(LevelMeter)
        meter.silent = self.listener.trouble
        meter.reading = self.listener.reading

    def show_count(self, count: Count | None) -> None:
        """Show the countdown of what is under way."""
        if self.is_attached:
            self.query_one(Countdown).count = count

    # ------------------------------------------------------------------ what the doing says

    def begin(self, step: Step) -> None:
        """A clip begins."""
        self.listener.aim(step.point, step.clip_kind)
        self.query_one(Desk).microphone(self.query_one(Ladder))

    def finished(self, outcome: Outcome) -> None:
        """A clip has come to its end, one way or another."""
        self.other, self.other_kind, self._listening_at = "", "", ("", "")
        if self.bay.open_job is not None:
            self.bay.job = self.bay.open_job.job
        if outcome.lost:
            self.answers.look_for_leftovers()

    def write(self, *events: Payload) -> bool:
        """Put events into the journal; what the disk refuses is said, and nothing has changed."""
        try:
            self.bay.write(*events)
        except HisswayError as e:
            self.doing.outcome = Outcome(False, str(e), lead="Not written")
            self.refresh_round()
            return False
        return True

    def wrong(self, text: str) -> None:
        """Say what is wrong with a figure typed."""
        self.query_one(EntryPanel).wrong(text)

    def ask_several(self, keep: Callable[[tuple[str, ...]], None]) -> None:
        """Ask which paths are heard."""
        assert self.bay.job is not None
        ask_paths(self, "Which paths do you hear?", round_points(self.bay.job, self.record), keep)

    def judge(self) -> None:
        """Have the round judged."""
        self.doing.judging = True
        self.start(self.doing.judge, "judge")
