"""Symptoms are ticked in one list; that they were asked is kept also where there are none."""

from __future__ import annotations

from pathlib import Path

from bay import bench, screen_text, to_engine, until, words

from listen.jobs.folder.store import open_job
from listen.trade.facts import symptoms
from listen.trade.layout import layout
from tui.screens.diagnosis.screen import DiagnosisScreen
from tui.screens.ticks import TickScreen

ROWS = [s for s in symptoms() if s.scope == "engine"]


async def asked(pilot) -> None:
    await pilot.press("s")
    await until(pilot, lambda: isinstance(pilot.app.screen, TickScreen))


async def test_no_symptom_at_all_leaves_a_trace(tmp_path: Path) -> None:
    """Not asked, asked and none, and some: three words on the engine's screens and three states on disk."""
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await until(pilot, lambda: "Symptoms not asked yet" in words(app))
        await pilot.press("d")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await asked(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        assert not app.job.symptoms_asked
        await asked(pilot)
        assert "none of" in words(app) and "Esc changes nothing" in words(app)
        await pilot.press("enter")
        await until(pilot, lambda: app.job.symptoms_asked)
        assert app.job.symptoms == ()
        events = app.job.events
        await asked(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        assert app.job.events == events, "asked again with the same answers says nothing new"
        await pilot.press("escape")
        await until(pilot, lambda: "Symptoms asked: none." in words(app))
    with open_job(next((tmp_path / "jobs").iterdir()), write=False) as read:
        assert read.job.symptoms_asked and not read.job.symptoms


async def test_several_symptoms_are_ticked_in_one_go_and_a_long_one_breaks_its_line(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        app.push_screen(DiagnosisScreen())
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await asked(pilot)
        long = max(ROWS, key=lambda s: len(s.words))
        at = ROWS.index(long)
        await pilot.press("space", *["down"] * at, "space")
        await until(pilot, lambda: screen_text(app).count("[x]") >= 1)
        assert long.words.split()[-1] in words(app).split(long.words[:30])[1][: len(long.words) + 40]
        await pilot.press("enter")
        await until(pilot, lambda: set(app.job.symptoms) == {ROWS[0].id, long.id})
        await asked(pilot)
        await pilot.press("space", "enter")
        await until(pilot, lambda: app.job.symptoms == (long.id,))
