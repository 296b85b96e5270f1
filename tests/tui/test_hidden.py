"""A screen that nobody sees is not drawn, and what it would show is not counted as seen."""

from __future__ import annotations

from pathlib import Path

from bay import bench, settle, to_engine, to_round, until, words
from fakes import FakeServices
from test_screens import judged_job

from listen.jobs.events import ReadingEntered
from tui.app import HisswayApp
from tui.screens.engine.screen import EngineScreen
from tui.screens.facts.screen import FactsScreen


async def test_the_engine_behind_a_round_is_drawn_when_it_is_back(tmp_path: Path, monkeypatch) -> None:
    drawn: list[str] = []
    show = EngineScreen.show_job
    monkeypatch.setattr(EngineScreen, "show_job", lambda self, job: (drawn.append(job.title), show(self, job)))
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_round(pilot)
        before = len(drawn)
        app.write(ReadingEntered(reading="loss", value=27, unit="percent", si=27, cylinder=1))
        await settle(pilot)
        assert len(drawn) == before
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen) and "27" in words(app))
        assert len(drawn) > before


async def test_a_verdict_on_a_covered_screen_was_not_shown(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await pilot.press("s")
        await until(pilot, lambda: isinstance(app.screen, FactsScreen))
        app.sit("Ida Moor", "supervisor")
        app.sit("Bo", "supervisor")  # another person, to whom nothing was shown yet
        app.write(ReadingEntered(reading="loss", value=27, unit="percent", si=27, cylinder=1))
        await settle(pilot)
        assert not app.sitting.has_seen(app.job.id, round_id)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
        await until(pilot, lambda: app.sitting.has_seen(app.job.id, round_id))
