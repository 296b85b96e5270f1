"""A screen that nobody sees is not drawn, and what it would show is not counted as seen."""

from __future__ import annotations

from pathlib import Path

import msgspec
from bay import bench, settle, to_engine, to_round, until, words
from fakes import FakeServices
from test_screens import judged_job

from listen.jobs.events import Judged, ReadingEntered
from listen.jobs.folder.store import list_jobs, open_job
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


async def test_the_list_of_jobs_keeps_what_the_numbers_say_from_who_may_call_blind(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    folder = tmp_path / "jobs" / list_jobs(tmp_path / "jobs")[0].folder
    with open_job(folder) as opened:
        result = opened.job.round(round_id).verdict.result
        unclear = msgspec.structs.replace(result.verdict, kind="unclear", paths=(), probability=0.4)
        clips = tuple(c.id for c in opened.job.round(round_id).live_clips())
        opened.append(Judged(round_id=round_id, result=msgspec.structs.replace(result, verdict=unclear), clips=clips))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "to be confirmed" in words(app))
        assert "cannot tell" not in words(app)
        await to_engine(pilot)  # which shows the numbers
        await pilot.press("escape")
        await until(pilot, lambda: "cannot tell" in words(app))
