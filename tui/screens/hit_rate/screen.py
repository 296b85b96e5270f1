"""Hit rate: reads every job of the list and shows how often the shop's calls were right."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import Static

from listen.errors import HisswayError
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import BayScreen
from tui.screens.hit_rate import page
from tui.widgets.shares import Shares

if TYPE_CHECKING:
    from listen.jobs.hit_rate import Decided, HitRate, Said

    Counted = tuple[bool, tuple[Said, ...], tuple[HitRate, ...], tuple[Decided, ...]]


class HitRateScreen(BayScreen[None]):
    """One page: shares with their intervals, then every call."""

    CSS_PATH = "hit_rate.tcss"
    AUTO_FOCUS = "#page"

    def body(self) -> ComposeResult:
        """The page."""
        with VerticalScroll(id="page"):
            yield Static(shown("Reading every job ..."), id="state", classes="empty")

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return ("hit rate",)

    def on_mount(self) -> None:
        """Count away from the screen."""
        super().on_mount()
        self.start(self._count, "count")

    async def _count(self) -> None:
        state = self.query_one("#state", Static)
        try:
            counted = await in_thread(_counted, self.bay.services.jobs_root())
        except HisswayError as e:
            state.update(shown(f"× {e}", "$error"))
            return
        if not counted:
            state.update(page.EMPTY)
            return
        await state.remove()
        for simulated, said, rates, score in counted:
            drawn = Shares()
            drawn.shares = page.shares(rates)
            await self.query_one("#page").mount(
                Static(page.heading(said, simulated)),
                drawn,
                Static(page.decisions(score)),
                Static(page.listed(said), classes="calls"),
            )


def _counted(root: Path) -> list[Counted]:
    """Calls and rates of the shop's own engines, and of simulated ones, each where there are any."""
    from listen.jobs.hit_rate import calls, decided, hit_rates
    from listen.report.build import all_jobs

    jobs = tuple(all_jobs(root))
    everything = calls(jobs)
    parts = [(simulated, tuple(s for s in everything if s.simulated is simulated)) for simulated in (False, True)]
    return [
        (simulated, said, hit_rates(said), decided(j for j in jobs if j.simulated is simulated))
        for simulated, said in parts
        if said
    ]
