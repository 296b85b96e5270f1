"""The supervisor's queue: what waits over all jobs, into Confirm past no verdict, while the tech has the job open."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import screen_text, type_text, until, words
from fakes import FakeServices
from test_screens import judged_job
from textual.widgets import OptionList

from listen.jobs.events import FindingRecorded, JobNamed, Judged
from listen.jobs.folder.store import create_job, list_jobs, open_job
from listen.trade.engine import layout
from tui.app import HisswayApp
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.dialog import OneLineScreen, PickScreen
from tui.screens.waiting.screen import WaitingScreen


async def queue(pilot, rows: int) -> OptionList:
    app = pilot.app
    if not isinstance(app.screen, WaitingScreen):
        await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
        await pilot.press("w")
        await until(pilot, lambda: isinstance(app.screen, WaitingScreen))
    table = app.screen.query_one("#waiting", OptionList)
    await until(pilot, lambda: table.option_count == rows and (not rows or table.display))
    return table


async def test_what_waits_is_decided_blind_while_the_tech_has_the_job_open(tmp_path: Path) -> None:
    """Sent back from the queue, seen at the bench, answered there, and it comes again; then it is gone."""
    round_id = await judged_job(tmp_path)
    (row,) = list_jobs(tmp_path / "jobs")
    app = HisswayApp(services=FakeServices(tmp_path))
    with open_job(tmp_path / "jobs" / row.folder, actor="Ann") as bench:
        async with app.run_test(size=(100, 30)) as pilot:
            await queue(pilot, 1)
            assert "● to be decided" in screen_text(app) and "intake" not in screen_text(app)
            await pilot.press("enter")
            await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
            screen = app.screen_stack[-2]
            assert isinstance(screen, ConfirmScreen)
            await type_text(pilot, "Ida Moor")
            await until(pilot, lambda: screen.phase == "hear")
            assert "intake valve" not in words(app) and "dB" not in words(app)
            await pilot.press("space")
            await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
            await pilot.press("c", "2")
            await until(pilot, lambda: screen.phase == "tech")
            await pilot.press("n", "b", "1", "1")
            await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
            await type_text(pilot, "Once more")
            await until(pilot, lambda: screen.phase == "done")
            assert app.job.round(round_id).decision.heard.blind
            await pilot.press("escape")
            await queue(pilot, 1)
            await until(pilot, lambda: "↩ sent back, Ida Moor" in screen_text(app))
            assert bench.catch_up().round(round_id).decision.payload.name == "Ida Moor"
            clip = bench.job.round(round_id).live_clips("intake", "air")[0]
            bench.keep_file(bench.clip_path(clip.id), bench.new_part(round_id, "intake", "air", "air"))
            was = bench.job.round(round_id).verdict
            bench.append(Judged(round_id=round_id, result=was.result, clips=(*was.clips, *_new(bench, was))))
            app.screen.load()
            await until(pilot, lambda: "● came again, Ida Moor" in screen_text(app))


def _new(bench, was) -> list[str]:
    return [c.id for c in bench.job.rounds[0].live_clips() if c.id not in was.clips]


async def test_of_two_jobs_whose_titles_are_cut_alike_each_is_named_in_full(tmp_path: Path) -> None:
    """The column has 16 letters at 80 columns; nobody decides on the engine before the repair for the one after."""
    await judged_job(tmp_path)
    (row,) = list_jobs(tmp_path / "jobs")
    title = "The red baler's engine that blows oil, again"
    with open_job(tmp_path / "jobs" / row.folder) as opened:
        opened.append(JobNamed(title=title))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await queue(pilot, 1)
        await until(pilot, lambda: f"{title}, cylinder 1" in words(app))


async def by_report(pilot) -> None:
    await pilot.press("o")
    await until(pilot, lambda: isinstance(pilot.app.screen, PickScreen))
    await pilot.press("r", "enter")
    await until(pilot, lambda: (pilot.app.services.jobs_root() / "opened").exists(), 40)


async def by_hit_rate(pilot) -> None:
    await pilot.press("g")
    await until(pilot, lambda: "tool said" in words(pilot.app) or "program said" in words(pilot.app))
    await pilot.press("escape")


async def by_comparing(pilot) -> None:
    await pilot.press("enter")
    await until(pilot, lambda: bool(pilot.app.screen.query("EngineView")))
    await pilot.press("b")
    await until(pilot, lambda: isinstance(pilot.app.screen, PickScreen))
    await pilot.press("enter")
    await until(pilot, lambda: "verdict" in words(pilot.app))
    await pilot.press("escape")
    await until(pilot, lambda: bool(pilot.app.screen.query("EngineView")))
    await pilot.press("escape")


@pytest.mark.parametrize("seen", [by_report, by_hit_rate, by_comparing])
async def test_numbers_seen_past_the_round_itself_are_not_unseen(tmp_path: Path, monkeypatch, seen) -> None:
    """The report opened from the list, the list of calls and another job's comparison show verdicts too: from then
    on nobody's call in this sitting is blind, however it is come to."""
    monkeypatch.setattr("listen.report.build.usual_place", lambda folder, form="html": tmp_path / "r.html")
    monkeypatch.setattr("listen.report.build.show", lambda path: (tmp_path / "jobs" / "opened").touch() is None)
    round_id = await judged_job(tmp_path)
    (row,) = list_jobs(tmp_path / "jobs")
    if seen is by_hit_rate:
        with open_job(tmp_path / "jobs" / row.folder) as opened:
            opened.append(FindingRecorded(cylinder=1, paths=("rings",)))
    if seen is by_comparing:
        create_job(tmp_path / "jobs", title="Later", engine=layout("inline-4")).close()
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
        await seen(pilot)
        await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
        await queue(pilot, 1)
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
        screen = app.screen_stack[-2]
        assert isinstance(screen, ConfirmScreen)
        await type_text(pilot, "Ida Moor")
        await until(pilot, lambda: screen.phase == "hear" and "You have seen numbers of this round" in words(app))
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        await pilot.press("c", "2", "n", "a")
        await until(pilot, lambda: screen.phase == "decided")
        assert not app.job.round(round_id).decision.heard.blind


async def test_an_empty_queue_says_what_waits_there(tmp_path: Path) -> None:
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "No jobs here yet" in words(app))
        await pilot.press("w")
        await until(pilot, lambda: "Nothing waits for a supervisor here" in words(app))
