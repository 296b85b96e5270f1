"""Two paths called by ear at once: ticked, kept as both, and Escape leaves the question as it was."""

from __future__ import annotations

from pathlib import Path

from bay import bench, screen_text, to_quiet_walk, until, walk

from listen.jobs.folder.store import open_job
from listen.voice import names
from tui.screens.dialog import TickScreen


async def test_a_tech_may_call_two_paths_at_once(tmp_path: Path) -> None:
    """The stored event is the same as for one path, with both in it: any version can read it."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await until(pilot, lambda: "[m] more than one" in screen_text(app))
        await pilot.press("m")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        assert "decline" not in screen_text(app) and "[ ] 1" in screen_text(app)
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        assert screen.record.call() is None and screen.step().kind == "call"
        await pilot.press("m")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        await pilot.press("2", "1", "enter")
        await until(pilot, lambda: screen.record.call() is not None)
        assert screen.record.call().paths == ("intake-valve", "exhaust-valve")
        assert names.by_ear(screen.record.call().paths, None) == "intake valve and exhaust valve"
        assert screen.step().walk == "air"
    with open_job(next((tmp_path / "jobs").glob("[!.]*")), write=False) as read:
        assert read.job.round(screen.round_id).call().paths == ("intake-valve", "exhaust-valve")
