"""Hit rate: reads every job of the list and shows how often the shop's calls were right."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.reactive import reactive
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.hit_rate import Decided, HitRate, ScoredCall
from listen.jobs.teardowns import Torn, count_no_more, counting, let_count, torn_down
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import BayScreen
from tui.screens.hit_rate import page
from tui.screens.hit_rate.page import Learning, told, tried
from tui.widgets.shares import Shares

Counted = tuple[bool, tuple[ScoredCall, ...], tuple[HitRate, ...], tuple[Decided, ...]]


class HitRateScreen(BayScreen[None]):
    """One page: shares with their intervals, then every call."""

    HERE = "hit rate"
    OF_JOB = False
    CSS_PATH = "hit_rate.tcss"
    AUTO_FOCUS = "#page"
    BINDINGS = [
        Binding("t", "try_teardowns", "Try teardowns"),
        Binding("y", "let_count", "Let them count"),
        Binding("x", "count_no_more", "No more"),
    ]
    learning: reactive[Learning | None] = reactive[Learning | None](None)

    def body(self) -> ComposeResult:
        with VerticalScroll(id="page"):
            yield Static(shown("Reading every job ..."), id="state", classes="empty")
            yield Static(id="learning")

    def on_mount(self) -> None:
        self.start(self._count, "count")

    async def _count(self) -> None:
        state = self.query_one("#state", Static)
        root = self.bay.services.jobs_root()
        try:
            counted, learning = await in_thread(_counted, root)
        except HisswayError as e:
            state.update(shown(f"× {e}", "$error"))
            return
        self.learning = learning
        if not counted and not learning.findings:
            state.update(page.EMPTY)
            return
        await state.remove()
        for simulated, scored, rates, score in counted:
            drawn = Shares()
            drawn.shares = page.shares(rates)
            await self.query_one("#page").mount(
                Static(page.heading(scored, simulated)),
                drawn,
                Static(page.decisions(score)),
                Static(page.listed(scored), classes="calls"),
            )

    def watch_learning(self) -> None:
        if self.learning is not None and self.learning.findings:
            self.query_one("#learning", Static).update(told(self.learning))
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A key stands below only where it does something."""
        now = self.learning
        works = {
            "try_teardowns": now is not None and now.enough,
            "let_count": now is not None and now.tried is not None,
            "count_no_more": now is not None and now.now is not None,
        }
        return works.get(action, True)

    def action_try_teardowns(self) -> None:
        self.tell("Judging the shop's own rounds again, with and without their teardowns ...")
        self.start(self._try, "try")

    async def _try(self) -> None:
        if (before := self.learning) is not None:
            self.learning = replace(before, tried=await tried(self.bay.services, before.findings))

    def action_let_count(self) -> None:
        self._settle(lambda root, findings: let_count(root, findings, self.bay.sitting.name))

    def action_count_no_more(self) -> None:
        """Judge by the tables alone again."""
        self._settle(lambda root, _: count_no_more(root))

    def _settle(self, change: Callable[[Path, tuple[Torn, ...]], object]) -> None:
        root, before = self.bay.services.jobs_root(), self.learning
        with self.refusing():
            if before is not None:
                change(root, before.findings)
                self.learning = replace(before, now=counting(root), tried=None)


def _counted(root: Path) -> tuple[list[Counted], Learning]:
    """Calls and rates of the shop's own engines, and of simulated ones, each where there are any; then teardowns."""
    from listen.jobs.hit_rate import calls, decided, hit_rates
    from listen.report.build import all_jobs

    jobs = tuple(all_jobs(root))
    everything = calls(jobs)
    parts = [(simulated, tuple(s for s in everything if s.simulated is simulated)) for simulated in (False, True)]
    rates = [
        (simulated, scored, hit_rates(scored), decided(j for j in jobs if j.simulated is simulated))
        for simulated, scored in parts
        if scored
    ]
    return rates, Learning(torn_down(jobs), counting(root))
