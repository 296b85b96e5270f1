"""Nothing that matters is cut where columns are few, and every key is on the screen or one key away."""

from __future__ import annotations

import re
from pathlib import Path

import msgspec
import pytest
from bay import bench, read_all, screen_text, settle, to_engine, to_quiet_walk, until, words
from fakes import FakeServices, result_for

from listen.jobs.events import CautionAcknowledged, Judged, PlugSeen, ReadingEntered, Signed, StepPassed
from listen.jobs.folder.open_job import new_round
from listen.jobs.folder.store import create_job
from listen.jobs.ways import WAYS
from listen.trade.engine import Exhaust, engine_of_rows, layout
from listen.trade.facts import plugs
from listen.trade.points import point
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.content import fitting
from tui.screens.help.screen import HelpScreen, key_lines
from tui.screens.round.now import Outcome
from tui.screens.round.screen import RoundScreen
from tui.screens.verdict.screen import VerdictScreen
from tui.widgets.edges import KeyBar

SIZES = [(80, 24), (100, 30), (160, 45)]
PATHS = (("intake-valve",), ("exhaust-valve",), ("coolant-passage",), ("intake-valve", "exhaust-valve"), ("none",))
SHORT = ("intake", "exhaust", "coolant", "intake + exhaust", "sound")


def full_engine(root: Path) -> None:
    """Five cylinders with every figure, long plug words and a verdict each, the first one signed."""
    with create_job(root, title="t", engine=layout("inline-5")) as opened:
        for i, (n, paths) in enumerate(zip(opened.job.engine.cylinders, PATHS, strict=True)):
            for name, value in (("compression-dry", 1100.0 + n), ("compression-wet", 1240.0), ("loss", 40.0 + n)):
                opened.append(ReadingEntered(reading=name, value=value, unit="kPa", si=value, cylinder=n))
            opened.append(PlugSeen(cylinder=n, conditions=(plugs()[i].id,)))
            round_id = begin_round(opened, n)
            result = result_for(["intake", "tailpipe"])
            said = msgspec.structs.replace(
                result.verdict, paths=paths, kind="sound" if paths == ("none",) else "several", probability=0.999
            )
            result = msgspec.structs.replace(result, verdict=said)
            opened.append(Judged(round_id=round_id, result=result, clips=()))
            if i == 0:
                opened.append(
                    Signed(round_id=round_id, name="Bo", role="supervisor", statement="", head=opened.chain.head)
                )


@pytest.mark.parametrize("size", SIZES, ids=str)
async def test_the_engine_cuts_nothing(tmp_path: Path, size: tuple[int, int]) -> None:
    """Every path, its percent, every plug and every box of the drawing whole at the smallest promised size."""
    full_engine(tmp_path / "jobs")
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=size) as pilot:
        await to_engine(pilot)
        await settle(pilot)
        text = screen_text(app)
        assert "…" not in text
        assert words(app).count(">99 %") >= len(PATHS)
        assert "Cylinder 1: ▲ intake valve, >99 % ✓ signed" in words(app)
        table = text[text.index("Verdict") :]
        table = " ".join(table.replace(" valve", "").replace(" passage", "").replace(" and ", " + ").split())
        assert all(short in table for short in SHORT)
        for i in range(len(PATHS)):
            await pilot.press(*(["down"] if i else []))
            await settle(pilot)
            assert f"plug {plugs()[i].words}" in words(app)
        assert re.search(r"▲ 2\s", text) and text.count("loss 4") == len(PATHS)


async def test_a_table_too_long_for_the_screen_scrolls_and_the_words_below_stay(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("v8"))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await settle(pilot)
        assert "Pressures in kPa." in words(app) and "Cylinder 1: – not tested" in words(app)
        await pilot.press(*["down"] * 7)
        await settle(pilot)
        assert "Cylinder 8: – not tested" in words(app) and "Pressures in kPa." in words(app)


def told_keys(app: HisswayApp) -> tuple[int, int]:
    """How many keys the bar holds, and how many it says have no room."""
    bar = app.screen.query_one(KeyBar)
    last = screen_text(app).splitlines()[-1]
    more = re.search(r"(\d+) more keys?", last)
    return len(bar._spots), int(more.group(1)) if more else 0


@pytest.mark.parametrize("columns", [50, 80, 100, 160])
async def test_every_key_is_on_the_bar_or_counted_and_in_the_help(tmp_path: Path, columns: int) -> None:
    """Three screens with many keys: the bar cuts no word, and help names all keys without scrolling at 80x24."""
    full_engine(tmp_path / "jobs")
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(columns, 24)) as pilot:
        await to_engine(pilot)
        await settle(pilot)
        for make in (None, lambda: VerdictScreen(app.job.rounds[0].id)):
            if make is not None:
                app.push_screen(make())
                await settle(pilot)
            keys = {k.description for k in app.screen.query_one(KeyBar)._keys()}
            shown, left = told_keys(app)
            assert shown + left == len(keys) and (left == 0 or columns < 160)
            await pilot.press("question_mark")
            await until(pilot, lambda: isinstance(app.screen, HelpScreen))
            await settle(pilot)
            assert columns < 80 or all(k in words(app) for k in keys)
            rows = key_lines(app.screen._keys, columns)
            assert app.screen.query_one("#keys").size.height == len(rows), "a row is a line"
            await pilot.press("escape")
            await settle(pilot)


async def test_the_round_offers_the_keys_that_do_something_and_its_help_names_all(tmp_path: Path) -> None:
    """Before the first clip there is nothing to take back and nothing to look at."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_quiet_walk(pilot)
        await settle(pilot)
        last = " ".join(screen_text(app).splitlines()[-2:])
        assert "Import" in last and "Times" in last and "Take back" not in last and "Verdict" not in last
        await pilot.press("question_mark")
        await until(pilot, lambda: isinstance(app.screen, HelpScreen))
        await settle(pilot)
        text = screen_text(app)
        assert all(w in text for w in ("Import", "Take back", "Verdict", "Evidence")) and "Cursor" not in text


async def test_a_job_is_named_in_full_below_the_list(tmp_path: Path) -> None:
    """The list cuts a long title; the line below does not, and Enter says what it does."""
    title = "The red baler's engine, brought in by the neighbour, blows oil since the harvest"
    app = bench(tmp_path, title=title)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: title in words(app))
        assert "Enter Open" in screen_text(app)
        await pilot.press("slash", *"zzz")
        await until(pilot, lambda: "No job holds" in words(app))
        assert title not in words(app)


def test_the_longest_form_that_has_room_is_taken() -> None:
    forms = ("intake valve 95 %", "intake 95 %", "95 %")
    assert [fitting(forms, n) for n in (40, 17, 16, 11, 10, 1)] == [forms[0]] * 2 + [forms[1]] * 2 + [forms[2]] * 2


@pytest.mark.parametrize("size", [(80, 24), (60, 20)], ids=str)
async def test_a_list_too_long_for_the_screen_keeps_its_title_and_its_keys(tmp_path: Path, size) -> None:
    """The plug list is longer than a small screen: it scrolls, the last line is whole, a first letter goes there."""
    app = bench(tmp_path)
    async with app.run_test(size=size) as pilot:
        await to_engine(pilot)
        read_all(app)
        await pilot.press("p")
        await until(pilot, lambda: "Plug of cylinder 1" in words(app) and "goes back" in words(app))
        last = next(p for p in reversed(plugs()) if not any(q.words[0] == p.words[0] for q in plugs() if q is not p))
        await pilot.press(last.words[0])
        await until(pilot, lambda: last.words in words(app) and last.look.split()[-1] in words(app))
        assert "Plug of cylinder 1" in words(app) and "goes back" in words(app)
        await pilot.press("enter")
        await until(pilot, lambda: app.job.plugs[1].conditions == (last.id,))


async def test_the_list_of_jobs_fills_the_screen_and_the_find_line_keeps_its_margin(tmp_path: Path) -> None:
    """The first screen's own style sheet is in force: the words on a job stand at the bottom, above the keys."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "Green tractor" in words(app) and "no round yet" in words(app))
        lines = screen_text(app).splitlines()
        assert "no round yet" in "".join(lines[-3:]) and app.screen.query_one("#find").region.x == 1


async def test_a_round_of_many_points_keeps_the_one_that_is_next_in_view(tmp_path: Path) -> None:
    """Two tailpipes and two neighbours at 80x24: the ways in full, nothing scrolls, every point is reached."""
    engine = engine_of_rows([(2, 1, 3)])
    engine = msgspec.structs.replace(engine, exhausts=(Exhaust("tailpipe-left"), Exhaust("tailpipe-right")))
    app = bench(tmp_path, engine=engine, way="")
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        begun = new_round(1)
        app.write(begun, CautionAcknowledged(caution="set-up", round_id=begun.round_id))
        app.write(StepPassed(round_id=begun.round_id, step="supply", reason="no time"))
        app.write(StepPassed(round_id=begun.round_id, step="loss", reason="no time"))
        screen = RoundScreen(begun.round_id)
        await app.push_screen(screen)
        await until(pilot, lambda: all(way.suits in words(app).replace("▎ ", "") for way in WAYS.values()))
        await pilot.press("2")
        await until(pilot, lambda: screen.step().kind == "clip")
        assert len(screen.points()) == 7
        for point in screen.points():
            await until(pilot, lambda p=point: f"▶ {p.replace('-', ' ')}" in screen_text(app))
            assert not screen.show_vertical_scrollbar
            await pilot.press("down")


async def test_at_50_columns_every_table_keeps_to_one_line_a_row(tmp_path: Path) -> None:
    """Columns give way, one after the other, to what a row is about; the line below has them all."""
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(50, 20)) as pilot:
        await until(pilot, lambda: "no round yet" in words(app))
        lines = screen_text(app).splitlines()
        head = next(i for i, line in enumerate(lines) if "Waits for" in line)
        assert "Green tractor" in lines[head + 1] and not lines[head + 2].strip()
        await pilot.press("o")
        await until(pilot, lambda: "Test this engine again" in words(app))
        lines = [line.strip("│ ▃▆") for line in screen_text(app).splitlines()]
        assert lines[lines.index("Test this engine again") + 1].startswith("a new job"), "below its words, not broken"
        await pilot.press("escape")
        await to_engine(pilot)
        await until(pilot, lambda: "Cylinder 1" in words(app))
        lines = screen_text(app).splitlines()
        head = next(i for i, line in enumerate(lines) if "Verdict" in line)
        assert [line.split()[0] for line in lines[head + 1 : head + 5]] == ["1", "2", "3", "4"]
        assert all(line.rstrip().endswith("not tested") for line in lines[head + 1 : head + 5])
        await pilot.press("right", "right")
        assert app.screen.query_one("#table").column.id == "loss"


async def test_at_50_columns_the_heads_of_a_verdict_are_whole(tmp_path: Path) -> None:
    full_engine(tmp_path / "jobs")
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(50, 24)) as pilot:
        await to_engine(pilot)
        app.push_screen(VerdictScreen(app.job.rounds[0].id))
        await until(pilot, lambda: "range over what is assumed" in words(app))
        assert "leaks, alone or with another decibans so far" in words(app)


async def test_at_50_columns_the_page_of_a_job_has_room_for_its_words(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(50, 20)) as pilot:
        await to_engine(pilot)
        await pilot.press("j")
        await until(pilot, lambda: "at intake" in words(app))
        rows = [line for line in screen_text(app).splitlines() if "● opened as" in line]
        assert len(rows) == 1 and "opened as t: engine" in rows[0]


async def test_a_long_reason_takes_the_meters_lines_before_those_of_the_points(tmp_path: Path) -> None:
    """What is heard at a point stands in its row; a refusal of four lines must not push the last ones off."""
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        why = "samples are clipped; turn the input down, hold the microphone further off, and take it again. " * 3
        for outcome, meter in ((Outcome(False, why), False), (None, True)):
            screen.change(outcome=outcome)
            await until(pilot, lambda o=outcome: ("and take it again" in words(app)) is (o is not None))
            await settle(pilot)
            names = [point(p).row.words.partition(" of")[0] for p in screen.points()]
            rows = screen_text(app)[screen_text(app).index("off on  off") :]
            assert len(names) == 5 and all(name in rows for name in names)
            assert ("dBFS" in screen_text(app)) is meter


async def test_a_toast_leaves_the_line_open_in_which_a_figure_was_refused(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24), notifications=True) as pilot:
        await to_engine(pilot)
        await pilot.press("right", "right", "right", "right")
        await pilot.press("4")
        await until(pilot, lambda: bool(app.screen.query("#line")))
        await pilot.press("x", "enter")
        await until(pilot, lambda: "! " in words(app))
        refused = next(line for line in screen_text(app).splitlines() if "! " in line)
        app.notify("The last figure stands: a toast of some length, in a corner, for a while. " * 3)
        await until(pilot, lambda: "a toast of some length" in words(app))
        assert refused[:40] in screen_text(app) and len(refused.split()) > 4
