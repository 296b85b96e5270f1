"""Every slip is seen and repaired from the page: of a cylinder, and of the job."""

from __future__ import annotations

from pathlib import Path

import msgspec
from bay import FOUR_POINTS, bench, clip, settle, to_engine, to_quiet_walk, until, walk, words
from fakes import result_for
from textual.widgets import Input, OptionList

from listen.jobs.event_words import event_words
from listen.jobs.events import Judged, ReadingEntered, Signed
from listen.trade.engine import layout, points_for
from listen.voice.names import path as path_name
from tests.jobs.short import note_texts
from tui.app import HisswayApp
from tui.screens.calls import calls
from tui.screens.dialog import OneLineScreen, PickScreen, TickScreen
from tui.screens.engine.screen import EngineScreen
from tui.screens.new_job.screen import NewJobScreen
from tui.screens.page.screen import PageScreen
from tui.screens.round.screen import RoundScreen


async def page(pilot, app: HisswayApp, key: str = "o") -> PageScreen:
    """From wherever to the page."""
    while not isinstance(app.screen, EngineScreen):
        await pilot.press("escape")
        await settle(pilot)
    await pilot.press(key)
    await until(pilot, lambda: isinstance(app.screen, PageScreen) and bool(app.screen.lines))
    return app.screen


async def point_at(pilot, screen: PageScreen, part: str) -> None:
    """Put the pointer on the first line that holds these words."""
    options = screen.query_one(OptionList)
    at = next(i for i in range(options.option_count) if part in (line_words(screen, i)))
    options.highlighted = at
    await settle(pilot)


def line_words(screen: PageScreen, i: int) -> str:
    line = screen.lines.get(screen.query_one(OptionList).get_option_at_index(i).id or "")
    return line.words if line else ""


async def test_a_clip_taken_back_by_a_slip_comes_back(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        await pilot.press("backspace")
        await until(pilot, lambda: not screen.record.live_clips())
        shown = await page(pilot, app)
        await point_at(pilot, shown, "intake, air off")
        assert "× intake, air off, 1.0 s (taken back: taken back)" in words(app) and "Bksp brings it back." in words(
            app
        )
        await pilot.press("backspace")
        await until(pilot, lambda: len(app.job.rounds[0].live_clips()) == 1)
        assert "● intake, air off, 1.0 s" in words(app)
        await pilot.press("backspace")
        await until(pilot, lambda: not app.job.rounds[0].live_clips())


async def test_a_skip_is_undone_and_its_step_is_due_again(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("s", "o")
        await until(pilot, lambda: "Why" in words(app) and isinstance(app.focused, Input))
        await pilot.press(*"hose", "enter")
        await until(pilot, lambda: screen.step().point == "tailpipe")
        assert screen.record.skips[0].reason == "hose"
        shown = await page(pilot, app)
        await point_at(pilot, shown, "intake left out: hose")
        await pilot.press("backspace")
        await until(pilot, lambda: not app.job.rounds[0].skips)
        await pilot.press("r")
        await until(pilot, lambda: isinstance(app.screen, RoundScreen) and app.screen.step().point == "intake")


async def test_a_reading_is_corrected_and_cleared_and_comes_back(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        app.open_job.append(ReadingEntered(reading="loss", value=72, unit="percent", si=72, cylinder=1))
        app.job = app.open_job.job
        shown = await page(pilot, app)
        await point_at(pilot, shown, "loss 72 %")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
        app.screen.query_one(Input).value = "27"
        await pilot.press("enter")
        await until(pilot, lambda: app.job.reading("loss", 1).si == 27)
        assert "↺ loss 72 % (replaced)" in words(app)
        await point_at(pilot, shown, "loss 27 %")
        await pilot.press("backspace")
        await until(pilot, lambda: app.job.reading("loss", 1).si == 72)


async def test_a_call_by_a_wrong_key_is_corrected_on_the_page_and_is_blind_only_where_it_was(tmp_path: Path) -> None:
    """Enter asks for the call again, in place; the slip stays in the list, and numbers seen since are not unseen."""
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await pilot.press("right", "1")
        await until(pilot, lambda: screen.step().walk == "air")
        for key, was, now in (("2", "intake valve", "exhaust valve"), ("3", "exhaust valve", "rings")):
            shown = await page(pilot, app)
            await point_at(pilot, shown, f"tech: {was}, 50 % sure")
            await pilot.press("enter")
            await until(pilot, lambda: isinstance(app.screen, PickScreen))
            assert "hiss at the oil filler, more than normal" in words(app), "the answers of the round"
            await pilot.press(key)
            await until(pilot, lambda n=now: path_name(app.job.rounds[0].call().paths[0]) == n)
            assert f"× tech: {was}, 50 % sure (taken back: called anew)" in words(app)
            assert app.job.rounds[0].call().before_numbers is (now == "exhaust valve") and len(screen.record.calls) == 1
            await pilot.press("r")
            await until(pilot, lambda: isinstance(app.screen, RoundScreen))
            screen = app.screen
            if now == "exhaust valve":
                await walk(pilot, screen)
        assert "after numbers had been shown" in event_words(screen.record.call(), app.job)
        clips = tuple(c.id for c in screen.record.live_clips())
        app.open_job.append(Judged(round_id=screen.round_id, result=result_for(["intake"]), clips=clips))
        app.job = app.open_job.job
        shown = await page(pilot, app)
        await point_at(pilot, shown, "tech: rings, 50 % sure")
        await pilot.press("backspace")  # no verdict rests on a call: nobody is asked whether it shall be judged again
        await until(pilot, lambda: app.job.rounds[0].call() is None)
        assert not app.job.rounds[0].stale


def test_rings_are_heard_where_this_engine_lets_them_be_heard() -> None:
    """An engine without an oil filler is asked about its breather."""
    engine = msgspec.structs.replace(FOUR_POINTS, crankcase_point="breather")
    for made, at in ((FOUR_POINTS, "oil filler"), (engine, "dipstick tube or breather")):
        (rings,) = (c for c in calls(points_for(made, 1)) if c.id == "rings")
        assert rings.more == f"hiss at the {at}, more than normal"


async def test_what_was_judged_is_asked_about_and_what_was_signed_wants_a_reason(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await pilot.press("1")
        await until(pilot, lambda: screen.step().walk == "air")
        await walk(pilot, screen)
        await walk(pilot, screen)
        await pilot.press("n")
        await until(pilot, lambda: screen.record.verdict is not None and screen.step().kind == "done")
        clips = len(screen.record.live_clips())
        await pilot.press("backspace")
        await until(pilot, lambda: "what rests on it is judged again" in words(app))
        await pilot.press("n")
        await settle(pilot)
        assert len(screen.record.live_clips()) == clips
        app.open_job.append(
            Signed(round_id=screen.round_id, name="Bo", role="supervisor", statement="", head=app.open_job.chain.head)
        )
        app.job = app.open_job.job
        await settle(pilot)
        await pilot.press("backspace")
        await until(pilot, lambda: "Bo has signed" in words(app))
        await pilot.press("enter")
        await until(pilot, lambda: "A word or two" in words(app))
        await pilot.press(*"slip", "enter")
        await until(pilot, lambda: len(screen.record.live_clips()) == clips - 1)
        assert any("slip" in n.payload.text for n in app.job.notes) and screen.record.changed_after_signing
        shown = await page(pilot, app)
        options = shown.query_one(OptionList)
        back = next(line for line in shown.lines.values() if line.undone_by)
        options.highlighted = options.get_option_index(back.id)
        await settle(pilot)
        await pilot.press("backspace")
        await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
        await pilot.press(*"back", "enter")
        await until(pilot, lambda: len(app.job.rounds[0].live_clips()) == clips)


async def test_another_round_is_asked_for_and_one_begun_by_a_slip_is_set_aside(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        await page(pilot, app)
        await pilot.press("escape")
        await settle(pilot)
        await pilot.press("R")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("enter")
        await until(pilot, lambda: len(app.job.rounds) == 2)
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        shown = await page(pilot, app)
        await pilot.press("s")
        await until(pilot, lambda: app.job.rounds[1].aside)
        await until(pilot, lambda: "set aside" in words(app))
        await pilot.press("escape")
        await settle(pilot)
        await pilot.press("r")
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        assert app.screen.round_id == app.job.rounds[0].id and shown is not None


async def test_the_engine_is_described_anew_from_the_page_of_the_job(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        await page(pilot, app, "j")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, NewJobScreen))
        await settle(pilot)
        app.screen.query_one("#unit").value = "psi"
        app.screen.query_one("#fuel").value = "diesel"
        app.screen.query_one("#crankcase").value = "breather"
        await settle(pilot)
        await pilot.press("ctrl+s")
        await until(pilot, lambda: app.job.pressure_unit == "psi")
        assert app.job.engine.fuel == "diesel" and app.job.engine.crankcase_point == "breather"
        assert app.job.engine.rows == layout("inline-4").rows


async def test_a_note_stands_on_the_clip_it_was_written_about(tmp_path: Path) -> None:
    """From the round, just after the clip; on the page it says which one, and is written anew there."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        await pilot.press("n")
        await until(pilot, lambda: "Note on the clip: intake, quiet walk" in words(app))
        await pilot.press(*"a lorry passed", "enter")
        await until(pilot, lambda: note_texts(app.job) == ("a lorry passed",))
        assert app.job.notes[0].payload.clip == screen.record.clips[0].id
        shown = await page(pilot, app)
        await point_at(pilot, shown, "intake, quiet walk: a lorry passed")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
        app.screen.query_one(Input).value = "a train passed"
        await pilot.press("enter")
        await until(pilot, lambda: note_texts(app.job) == ("a train passed",))
        assert any(x.words == "intake, quiet walk: a train passed" for x in shown.lines.values())


async def test_escape_drops_a_typed_line_only_when_pressed_again(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await pilot.press("n", *"hose loose", "escape")
        await until(pilot, lambda: "Esc again drops it" in words(app))
        await pilot.press("enter")
        await until(pilot, lambda: note_texts(app.job) == ("hose loose",))
        await pilot.press("n", "x", "escape", "escape")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
        assert note_texts(app.job) == ("hose loose",)


async def test_two_clicks_in_one_go_ask_once(tmp_path: Path) -> None:
    """The second click comes before the dialog is up: it must not put up another one behind it."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        app.screen.action_finding()
        app.screen.action_finding()
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        await settle(pilot)
        assert sum(isinstance(s, TickScreen) for s in app.screen_stack) == 1
        await pilot.press("escape")
        await until(pilot, lambda: not isinstance(app.screen, TickScreen))
        await pilot.press("f")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
