"""The list of jobs: the card, the same engine again, archive and trash, each from keys and each undone by keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import bench, screen_text, type_text, until
from textual import events
from textual.pilot import Pilot

from listen.jobs.folder.store import list_jobs
from tui.screens.card.screen import CardScreen
from tui.screens.dialog import PickScreen
from tui.screens.jobs.screen import JobsScreen


async def listed(pilot: Pilot, words: str) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, JobsScreen) and words in screen_text(pilot.app))


async def ask(pilot: Pilot, letters: str) -> None:
    """Open the menu and choose the line that begins so."""
    await pilot.press("o")
    await until(pilot, lambda: isinstance(pilot.app.screen, PickScreen))
    for letter in letters:
        await pilot.press(letter)
    await pilot.press("enter")


async def test_the_card_is_filled_in_kept_and_found_by(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        await ask(pilot, "j")
        await until(pilot, lambda: isinstance(app.screen, CardScreen))
        app.screen.query_one("#of-registration").focus()
        await type_text(pilot, "XK 4711")
        await pilot.press("ctrl+s")
        await listed(pilot, "Green tractor")
        await until(pilot, lambda: list_jobs(tmp_path / "jobs")[0].details == "XK 4711")
        await pilot.press("/")
        await type_text(pilot, "4711")
        await listed(pilot, "Green tractor")


async def test_a_text_longer_than_its_line_stays_readable(tmp_path: Path) -> None:
    """No scroll bar lies over the only line there is."""
    app = bench(tmp_path, title="Baler " + "that blows oil since the harvest " * 4)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Baler")
        await ask(pilot, "j")
        await until(pilot, lambda: isinstance(app.screen, CardScreen))
        await until(pilot, lambda: "since the harvest" in screen_text(app).splitlines()[2])


async def test_escape_asks_before_a_card_with_something_typed_is_left(tmp_path: Path) -> None:
    """Going on, keeping and leaving are each one answer."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        await ask(pilot, "j")
        await until(pilot, lambda: isinstance(app.screen, CardScreen))
        app.screen.query_one("#of-customer").focus()
        await pilot.press(*"Ann", "escape")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("g", "enter")
        await until(pilot, lambda: isinstance(app.screen, CardScreen))
        assert app.screen.query_one("#of-customer").value == "Ann"
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("k", "enter")
        await listed(pilot, "Green tractor")
        await until(pilot, lambda: list_jobs(tmp_path / "jobs")[0].details == "Ann")


async def test_a_card_needs_a_title_and_escape_changes_nothing(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        before = next((tmp_path / "jobs").rglob("journal.jsonl")).read_bytes()
        await ask(pilot, "j")
        await until(pilot, lambda: isinstance(app.screen, CardScreen) and bool(app.screen.query("#title")))
        app.screen.query_one("#title").value = "  "
        await pilot.press("ctrl+s")
        await until(pilot, lambda: "needs a title" in screen_text(app))
        await pilot.press("escape", "l", "enter")
        await listed(pilot, "Green tractor")
        assert next((tmp_path / "jobs").rglob("journal.jsonl")).read_bytes() == before


async def test_what_is_typed_before_a_form_is_drawn_is_not_dropped(tmp_path: Path) -> None:
    """The key that opens it, a title and Escape in one burst: leaving is asked about."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        for key in ("n", *"Red", "escape"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: "Leave this form?" in screen_text(app))
        await pilot.press("escape", "escape", "l", "enter")
        await listed(pilot, "Green tractor")


async def test_to_the_trash_and_back(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        await ask(pilot, "d")
        await listed(pilot, "No jobs here yet")
        await ask(pilot, "s")
        await until(pilot, lambda: "Take which job back" in screen_text(app))
        await pilot.press("enter")
        await listed(pilot, "Green tractor")
        assert len(list_jobs(tmp_path / "jobs")) == 1


async def test_the_trash_is_emptied_only_after_a_question(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        await ask(pilot, "d")
        await listed(pilot, "No jobs here yet")
        for answer, left in (("k", 1), ("r", 0)):
            await ask(pilot, "s")
            await until(pilot, lambda: "Empty the trash" in screen_text(app))
            await pilot.press("e", "enter")
            await until(pilot, lambda: "for good?" in screen_text(app))
            await pilot.press(answer, "enter")
            await until(pilot, lambda: isinstance(app.screen, JobsScreen))
            trash = tmp_path / "jobs" / ".trash"
            await until(pilot, lambda n=left, t=trash: len(list_jobs(t)) == n)


async def test_the_same_engine_again_has_its_card(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        await ask(pilot, "t")
        await listed(pilot, "Green tractor, again")
        assert len({s.engine for s in list_jobs(tmp_path / "jobs")}) == 1


async def test_the_report_is_made_and_opened_from_a_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[Path] = []
    made = tmp_path / "documents" / "r.html"
    monkeypatch.setattr("listen.report.build.usual_place", lambda folder, form="html": made)
    monkeypatch.setattr("listen.report.build.show", lambda path: opened.append(path) or True)
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await listed(pilot, "Green tractor")
        await ask(pilot, "r")
        await until(pilot, lambda: opened == [made], 40)
        assert "Green tractor" in opened[0].read_text("utf-8")
