"""The other screens: each does what it is for, keeps its keys, and says what it cannot do."""

from __future__ import annotations

import re
import shutil
import threading
from pathlib import Path

import msgspec
import numpy as np
import pytest
from bay import (
    bench,
    read_all,
    said,
    screen_text,
    settle,
    to_engine,
    to_quiet_walk,
    to_round,
    type_text,
    until,
    walk,
    words,
)
from fakes import FakeServices, FakeSource, result_for
from textual import events

from listen.audio.write import write_clip
from listen.jobs.events import (
    ByEarCalled,
    CautionAcknowledged,
    Confirmed,
    Judged,
    Overruled,
    ReadingEntered,
    RoundOpened,
    SentBack,
    StepPassed,
)
from listen.jobs.exchange.keys import make_key
from listen.jobs.exchange.sign import check_signatures
from listen.jobs.folder.store import create_job, list_jobs, open_job
from listen.jobs.to_round import judged
from listen.jobs.walk import walked
from listen.judge.result import Blown, EngineSay, PathResult
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tui.app import HisswayApp
from tui.screens.cautions import CautionScreen
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.dialog import PickScreen, TickScreen
from tui.screens.engine.cells import verdict_forms
from tui.screens.engine.screen import EngineScreen
from tui.screens.evidence.screen import EvidenceScreen
from tui.screens.help.screen import HelpScreen
from tui.screens.jobs.screen import JobsScreen
from tui.screens.microphone.screen import MicrophoneScreen
from tui.screens.new_job.screen import NewJobScreen
from tui.screens.round.screen import RoundScreen
from tui.screens.verdict.screen import VerdictScreen
from tui.widgets import panels
from tui.widgets.field import Field
from tui.widgets.heat import Heat
from tui.widgets.odds import Odds


async def test_no_jobs_says_what_to_do(tmp_path: Path) -> None:
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "No jobs here yet" in screen_text(app))
        assert "hissway demo" in screen_text(app)


async def test_a_jobs_folder_that_is_a_file_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "jobs").write_text("not a folder")
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "a file stands where" in words(app))


async def test_five_thousand_jobs_are_listed_and_found_by_a_word(tmp_path: Path) -> None:
    root = tmp_path / "jobs"
    with create_job(root, title="Needle", engine=layout("inline-3")) as opened:
        model = opened.folder
    list_jobs(root)
    summary = (model / "job.json").read_bytes()
    import os

    for i in range(5000):
        folder = root / f"job-{i}"
        folder.mkdir()
        os.link(model / "journal.jsonl", folder / "journal.jsonl")
        (folder / "job.json").write_bytes(summary.replace(b"Needle", f"Hay {i}".encode()))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: app.screen.query_one("#jobs").option_count == 5001, 20)
        await pilot.press("slash", *"needle")
        await until(pilot, lambda: app.screen.query_one("#jobs").option_count == 1)
        assert "Needle" in screen_text(app)
        await pilot.press("escape")
        await until(pilot, lambda: app.screen.query_one("#jobs").option_count == 5001, 20)


async def test_a_job_is_taken_in_with_any_rows(tmp_path: Path) -> None:
    """An engine no list knows, described row by row; what cannot be is said and nothing is lost."""
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, JobsScreen))
        await pilot.press("n")
        await until(pilot, lambda: isinstance(app.screen, NewJobScreen))
        await pilot.press("ctrl+s")
        await until(pilot, lambda: "needs a title" in said(app, "#wrong"))
        await pilot.press(*"W5", "tab")
        app.screen.query_one("#layout").value = "rows"
        await settle(pilot)
        app.screen.query_one("#rows").value = "1-2-3 / 4-x"
        await until(pilot, lambda: "not a cylinder number" in said(app, "#wrong"))
        app.screen.query_one("#rows").value = "1-2-3 / 4-5"
        app.screen.query_one("#firing").value = "1-4-2-5-3"
        await settle(pilot)
        await pilot.press("ctrl+s")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
        assert app.job is not None and app.job.engine.rows == ((1, 2, 3), (4, 5))
        assert app.job.engine.firing_order == (1, 4, 2, 5, 3)


async def test_figures_are_typed_down_a_column_and_doubts_asked(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        read_all(app)
        for figure in ("1020", "980", "9"):
            await pilot.press(figure[0])
            await type_text(pilot, figure[1:])
        await until(pilot, lambda: "bar entered as kPa" in words(app))
        await pilot.press("k", "8")
        await type_text(pilot, ".1 bar")
        await until(pilot, lambda: app.job.reading("compression-dry", 4) is not None)
        assert [app.job.reading("compression-dry", n).si for n in (1, 2)] == [1020, 980]
        third = app.job.reading("compression-dry", 3)
        fourth = app.job.reading("compression-dry", 4)
        assert isinstance(third, ReadingEntered) and third.si == 9 and third.confirmed == ("unit-slip",)
        assert fourth.unit == "bar" and fourth.si == 810
        assert app.focused is app.screen.query_one("#table")


async def test_a_plug_and_a_finding_are_chosen_from_lists(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=layout("inline-4"))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        read_all(app)
        await pilot.press("p", "down", "down", "enter")
        await until(pilot, lambda: 1 in app.job.plugs)
        assert app.job.plugs[1].conditions == ("oil-wet",)
        await pilot.press("f", "enter")
        await until(pilot, lambda: 1 in app.job.findings)
        assert app.job.findings[1].paths == ("intake-valve",)


STEPS = ("supply", "loss", "quiet", "call", "air", "closing", "bubbles")


async def judged_job(tmp_path: Path) -> str:
    """A job whose round on cylinder 1 has clips at two points and a verdict, and its clips beside it; made once a
    process, and copied."""
    made = tmp_path.parent / "judged"
    if not made.exists():
        _make_judged(made)
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return "c1-a"


def _make_judged(place: Path) -> None:
    noise = np.random.default_rng(1).standard_normal(48_000).astype(np.float32) * 0.01
    with create_job(place / "jobs", title="Judged", engine=layout("inline-4")) as opened:
        opened.append(RoundOpened(round_id="c1-a", cylinder=1))
        for i, (at, walk_, kind) in enumerate(
            (p, w, k) for p in ("intake", "tailpipe") for w, k in (("quiet", "quiet"), ("air", "air"))
        ):
            file = place / f"{i}.flac"
            write_clip(file, Clip.of(noise * (2.0 if kind == "air" else 1.0), 48_000))
            opened.keep_file(file, opened.new_part("c1-a", at, kind, walk_))
        clips = tuple(c.id for c in opened.job.round("c1-a").live_clips())
        opened.append(Judged(round_id="c1-a", result=result_for(["intake", "tailpipe"]), clips=clips))


async def confirming(pilot, tmp_path: Path) -> ConfirmScreen:
    await to_engine(pilot)
    await pilot.press("c")
    await type_text(pilot, "Ida Moor")
    await until(pilot, lambda: isinstance(pilot.app.screen, ConfirmScreen) and pilot.app.screen.phase == "hear")
    return pilot.app.screen


async def test_a_supervisor_hears_calls_agrees_and_signs(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    app.services.key = make_key(tmp_path / "key.pem")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await confirming(pilot, tmp_path)
        assert "dB" not in screen_text(app) and "intake valve" not in screen_text(app)
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        assert len(app.services.fake_player.played) == 2
        await pilot.press("c", "2")
        await until(pilot, lambda: screen.phase == "tech")
        assert "no call by ear" in screen_text(app) and "dB" not in screen_text(app)
        await pilot.press("n")
        await until(pilot, lambda: all(w in screen_text(app) for w in ("The intake valve leaks", "dB")))
        await pilot.press("a", "s")
        await type_text(pilot, "Ida Moor")
        await until(pilot, lambda: app.job.round(round_id).signed)
        record = app.job.round(round_id)
        what = record.decisions[-1].payload
        assert isinstance(what, Confirmed) and what.name == "Ida Moor"
        assert not what.blind, "the engine screen on the way here had shown the verdict"
        assert [c.state for c in check_signatures(app.open_job.chain)] == ["good"], "the shop's key signs along"
        assert "the round is closed" in screen_text(app)
        call = record.call("supervisor")
        assert call is not None and not call.before_numbers and call.paths == ("exhaust-valve",)
        await pilot.press("escape")
        screen = await to_round_from_engine(pilot)
        app.write(ByEarCalled(round_id=round_id, paths=("rings",)))
        await until(pilot, lambda: "changed after signing" in screen.query_one("Banner").say.where)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
        assert ", ! changed since" in verdict_forms(app.job.round(round_id).cylinder, app.job)[0]


async def test_a_supervisor_overrules_with_a_reason(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await confirming(pilot, tmp_path)
        await pilot.press("c", "d", "n", "o", "1", "2", "1", "3", "enter", "enter")
        await until(pilot, lambda: "A word or two" in screen_text(app))
        await type_text(pilot, "chuffs when cold")
        await until(pilot, lambda: bool(app.job.round(round_id).decisions))
        what = app.job.round(round_id).decisions[-1].payload
        assert isinstance(what, Overruled) and what.paths == ("exhaust-valve", "rings") and not what.blind
        assert what.reason == "chuffs when cold"


def line(app: HisswayApp) -> str:
    """What stands in the line that is typed into."""
    return app.focused.value if isinstance(app.focused, Field) else ""


async def test_keys_sent_in_one_burst_are_taken_in_their_order(tmp_path: Path) -> None:
    """A fast hand, a scanner or a remote terminal sends several at once; no digit may overtake a backspace."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        read_all(app)
        await pilot.press("9", "9", "9")
        await until(pilot, lambda: line(app) == "999")
        for key in ("backspace", "backspace", "backspace", "8", "5", "left", "7", "home", "delete", "1"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: line(app) == "175")


async def test_a_burst_acknowledges_no_caution(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A scanner types a figure and Enter where cautions come first: they are to be seen, and are still there."""
    monkeypatch.setattr(panels, "SEEN_S", 60.0)
    app = bench(tmp_path, engine=layout("inline-3"))
    async with app.run_test(size=(100, 45)) as pilot:
        await to_engine(pilot)
        for key in (*"1020", "enter", "enter", "space"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: isinstance(app.screen, CautionScreen))
        await settle(pilot)
        await pilot.press("enter")
        await settle(pilot)
        assert isinstance(app.screen, CautionScreen) and not app.job.cautions
        monkeypatch.setattr(panels, "SEEN_S", 0.0)
        await pilot.press("space")
        await until(pilot, lambda: bool(app.job.cautions))
        await until(pilot, lambda: line(app) == "1020")  # what was typed before the reading stands in the line


async def test_arrows_come_before_the_key_behind_them(tmp_path: Path) -> None:
    """Down, down and r in one burst, as a slow line sends them: the third cylinder's round, not the first one's."""
    app = bench(tmp_path, engine=layout("inline-3"))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        for key in ("down", "down", "r"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        assert app.screen.record.cylinder == 3


async def test_a_line_for_a_figure_never_opens_behind_what_the_next_key_opens(tmp_path: Path) -> None:
    """Enter on a cell and a key for something else in one burst: the keys after it are no figure."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        read_all(app)
        engine = app.screen
        for key in ("enter", "escape", "a"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: isinstance(app.screen, CautionScreen))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is engine)
        await pilot.press("down")
        assert app.screen is engine


async def test_what_is_typed_behind_the_key_of_a_dialog_stands_in_it(tmp_path: Path) -> None:
    """The key that opens a line and the words for it, in one burst."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await type_text(pilot, "nknocks when cold")
        await until(pilot, lambda: bool(app.job.notes))
        assert app.job.notes[-1].payload.text == "knocks when cold"


async def test_figures_typed_ahead_land_in_their_cells(tmp_path: Path) -> None:
    """Read off a list and typed at speed, or on a machine that stalls: no digit is lost, none lands in another cell."""
    app = bench(tmp_path, engine=layout("inline-3"))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        read_all(app)
        first, second = app.job.engine.cylinders[:2]
        for key in (*"1020", "enter", *"9950", "backspace", "left", "backspace", "end", "0", "enter", "7"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await until(pilot, lambda: line(app) == "7")
        assert [app.job.reading("compression-dry", cylinder=c).value for c in (first, second)] == [1020, 950]


async def test_a_teardown_may_find_several_paths_but_sound_stands_alone(tmp_path: Path) -> None:
    """Two faults in one cylinder are both the truth; one line without a tick is taken as meant."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await pilot.press("f")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        await pilot.press("down", "space", "1", "1", "4", "enter")
        await until(pilot, lambda: 1 in app.job.findings)
        assert app.job.findings[1].paths == ("exhaust-valve", "coolant-passage")
        await pilot.press("f")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        assert app.screen.ticked == {"exhaust-valve", "coolant-passage"} and "[x]" in screen_text(app)
        await pilot.press("5", "enter")
        await until(pilot, lambda: app.job.findings[1].paths == ("none",))


async def test_a_round_sent_back_asks_the_tech_for_that_clip(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await confirming(pilot, tmp_path)
        await pilot.press("c", "d", "n", "b", "2", "1")
        await type_text(pilot, "nearer the pipe")
        await until(pilot, lambda: bool(app.job.round(round_id).decisions))
        what = app.job.round(round_id).decisions[-1].payload
        assert isinstance(what, SentBack) and (what.point, what.clip_kind) == ("tailpipe", "air")
        await pilot.press("escape")
        screen = await to_round_from_engine(pilot)
        assert "Ida Moor asks for a clip" in screen.query_one("Banner").say.step
        await pilot.press("space")
        await until(pilot, lambda: len(screen.record.live_clips("tailpipe", "air")) == 2)


async def to_round_from_engine(pilot):

    await until(pilot, lambda: isinstance(pilot.app.screen, EngineScreen))
    await pilot.press("r")
    await until(pilot, lambda: isinstance(pilot.app.screen, RoundScreen))
    await until(pilot, lambda: pilot.app.screen.listener.reading is not None)
    return pilot.app.screen


async def test_the_sound_cylinder_can_be_left_out_and_taken_in_again(tmp_path: Path) -> None:
    """The round is judged anew each time, and the verdict says which way it was."""
    round_id = await judged_job(tmp_path)
    with open_job(next((tmp_path / "jobs").glob("[!.]*"))) as opened:
        opened.append(RoundOpened(round_id="c4-b", cylinder=4))
        opened.keep_file(tmp_path / "0.flac", opened.new_part("c4-b", "intake", "quiet", "quiet"))
        opened.keep_file(tmp_path / "1.flac", opened.new_part("c4-b", "intake", "air", "air"))
        opened.append(Overruled(round_id="c4-b", name="Bo", paths=("none",), reason="heard it"))
        opened.append(*(StepPassed(round_id=round_id, step=s, reason="no time") for s in STEPS))
        opened.append(CautionAcknowledged(round_id=round_id, caution="set-up"))
        assert walked(opened.job, round_id).due.kind == "done"
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await to_round_from_engine(pilot)
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        assert "Sound cylinder beside it: 4." in said(app, "#remarks")
        await pilot.press("s")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("down", "enter")
        await until(pilot, lambda: app.services.fake_analyst.judged == 1 and not app.job.round(round_id).stale)
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        assert "left out on purpose: recorded in another state" in said(app, "#remarks")
        await pilot.press("s")
        await until(pilot, lambda: app.services.fake_analyst.judged == 2 and not app.job.round(round_id).stale)
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        assert "beside it: 4" in said(app, "#remarks")


async def test_a_round_is_judged_again_with_cylinders_judged_since(tmp_path: Path) -> None:
    """What they tell is offered, not taken unasked; a line says whose word counts."""
    round_id = await judged_job(tmp_path)
    mouth = Blown(point="oil-filler", clean=0.9, nats=(0.0,))
    with open_job(next((tmp_path / "jobs").glob("[!.]*"))) as opened:
        for id, cylinder in ((round_id, 1), ("c4-b", 4)):
            if id == "c4-b":
                opened.append(RoundOpened(round_id=id, cylinder=cylinder))
                opened.keep_file(tmp_path / "0.flac", opened.new_part(id, "intake", "quiet", "quiet"))
                opened.keep_file(tmp_path / "1.flac", opened.new_part(id, "intake", "air", "air"))
            say = EngineSay(cylinder=cylinder, zero_dbfs=-50.0, points=(mouth,))
            result = msgspec.structs.replace(result_for(["intake"]), engine=say, learnt=("Learnt from nobody yet.",))
            opened.append(judged(opened.job, id, result))
        opened.append(*(StepPassed(round_id=round_id, step=s, reason="no time") for s in STEPS))
        opened.append(CautionAcknowledged(round_id=round_id, caution="set-up"))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        await to_round_from_engine(pilot)
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        assert "Cylinder 4 was judged since: j judges" in said(app, "#remarks")
        assert "Learnt from nobody yet." in said(app, "#remarks")
        await until(pilot, lambda: "j Judge again" in screen_text(app))
        await pilot.press("j")
        await until(pilot, lambda: app.services.fake_analyst.judged == 1 and not app.job.round(round_id).stale)
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        assert "judged since" not in said(app, "#remarks")
        await until(pilot, lambda: "j Judge again" not in screen_text(app))


async def test_evidence_shows_and_plays_both_clips(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(160, 45)) as pilot:
        await to_engine(pilot)
        app.push_screen(EvidenceScreen(round_id, "intake"))
        await until(pilot, lambda: isinstance(app.screen, EvidenceScreen) and app.screen.query_one(Heat).picture, 400)
        wanted = ("+9.8 dB over quiet", "kHz", "air clip, 0 to 1.0 s")
        await until(pilot, lambda: all(w in screen_text(app) for w in wanted))
        assert len(re.findall(r"^ *-\d+ ┫", screen_text(app), re.MULTILINE)) >= 3, "decibels up the side"
        drawn = [app.screen.query_one(Heat).picture.steps]
        for words in ("air clip, knocks alone, 0 to", "air clip without its knocks, 0 to", "air clip, 0 to"):
            await pilot.press("k")
            await until(pilot, lambda words=words: words in screen_text(app), 400)  # librosa loads late
            drawn.append(app.screen.query_one(Heat).picture.steps)
        assert len(set(drawn)) == 3 and drawn[0] == drawn[-1]
        await pilot.press("3")
        await until(pilot, lambda: len(app.services.fake_player.played) == 2)
        await pilot.press("right")
        await until(pilot, lambda: "+0.1 dB over quiet" in screen_text(app))


async def test_a_single_cylinder_is_told_of_no_sound_one_and_the_likeliest_path_stands_first(tmp_path: Path) -> None:
    """Of an engine of one cylinder none can be left out, and the order on the screen is that of the figures on it."""
    paths = (
        PathResult(path="none", probability=0.4, involved=0.2, evidence_db={}),
        PathResult(path="rings", probability=0.3, involved=0.5, evidence_db={}),
    )
    with create_job(tmp_path / "jobs", title="Pump", engine=layout("single")) as opened:
        opened.append(RoundOpened(round_id="r", cylinder=1))
        result = msgspec.structs.replace(result_for(["intake"]), paths=paths)
        opened.append(Judged(round_id="r", result=result, clips=()))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        app.push_screen(VerdictScreen("r"))
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen) and "rings" in screen_text(app))
        assert [p.path for p in app.screen.query_one(Odds).paths] == ["rings", "none"]
        assert "The engine has one cylinder" in said(app, "#remarks")
        assert "Sound cylinder in or out" not in screen_text(app)


async def test_while_spectra_are_worked_out_their_place_says_so(tmp_path: Path, monkeypatch) -> None:
    """An empty frame looks like a clip without sound; nor is a tone denied before anybody looked."""
    from tui.screens.evidence import screen as evidence

    go, made = threading.Event(), evidence.looked

    def slow(*about):
        go.wait(60)
        return made(*about)

    monkeypatch.setattr(evidence, "looked", slow)
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(160, 45)) as pilot:
        await to_engine(pilot)
        app.push_screen(EvidenceScreen(round_id, "intake"))
        try:
            await until(pilot, lambda: screen_text(app).count("being worked out ...") == 2)
            assert "tones with the air: none" not in screen_text(app)
        finally:
            go.set()
        await until(pilot, lambda: "kHz" in screen_text(app) and "being worked out" not in screen_text(app), 400)
        go.clear()
        try:
            await pilot.press("right")
            await until(pilot, lambda: screen_text(app).count("being worked out ...") == 2)
        finally:
            go.set()
        await until(pilot, lambda: "kHz" in screen_text(app), 400)


async def test_microphone_check_answers_in_a_sentence(tmp_path: Path) -> None:
    app = HisswayApp(services=FakeServices(tmp_path, FakeSource()))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, JobsScreen))
        await pilot.press("m")
        await until(pilot, lambda: isinstance(app.screen, MicrophoneScreen) and app.screen.listener is not None)
        screen = app.screen
        await until(pilot, lambda: screen.listener.reading is not None)
        await pilot.press("space")
        await until(pilot, lambda: "rate 48 kHz" in screen_text(app))
        assert any(word in screen_text(app) for word in ("Good for hiss", "Usable, but", "Not usable, because"))
        await pilot.press("c", "enter")
        await until(pilot, lambda: "Not calibrated" in screen_text(app))


async def test_help_explains_the_screen_and_names_its_keys(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_round(pilot)
        await pilot.press("question_mark")
        await until(pilot, lambda: isinstance(app.screen, HelpScreen))
        wanted = ("Take back", "One cylinder at top dead centre")
        await until(pilot, lambda: all(w in screen_text(app) for w in wanted))
        app.screen.query_one(".box").scroll_end(animate=False)
        await until(pilot, lambda: "Esc closes" in screen_text(app))
        await pilot.press("escape")
        await until(pilot, lambda: not isinstance(app.screen, HelpScreen) and app.focused is not None)


async def test_preferences_that_the_disk_refuses_are_told_once_and_hold(tmp_path: Path) -> None:
    """A home that is read-only: the microphones' places would be asked for again, and nobody would know why."""
    app = bench(tmp_path)
    app.services.preferences_path = lambda: tmp_path / "file" / "screens.json"
    (tmp_path / "file").write_text("no folder")
    said: list[str] = []
    app.tell = lambda text, *, bad=False: said.append(str(text))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("ctrl+t")
        await until(pilot, lambda: len(said) == 1)
        app.prefer(move_s=3.0)
        assert len(said) == 1 and "screens.json: cannot be written" in said[0] and app.preferences.move_s == 3.0


async def test_light_and_dark_are_kept(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("ctrl+t")
        await until(pilot, lambda: app.theme == "daylight")
    again = HisswayApp(services=FakeServices(tmp_path))
    assert again.theme == "daylight"


async def test_the_verdict_leads_back_to_the_round(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await pilot.press("1")
        await until(pilot, lambda: screen.step().walk == "air")
        await walk(pilot, screen)
        await walk(pilot, screen)
        await pilot.press("l")
        await until(pilot, lambda: screen.record.verdict is not None)
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await pilot.press("down")
        await until(pilot, lambda: "−15.1 decibans = 3 %" in screen_text(app))
        await pilot.press("n")
        await until(pilot, lambda: app.screen is screen)
        assert app.focused is not None
        assert (screen.step().point, screen.step().walk) == ("tailpipe", "air")
        with open_job(app.open_job.folder, write=False) as read:
            assert read.job.round(screen.round_id).verdict is not None


async def test_units_change_at_any_time_and_readings_stay_as_entered(tmp_path: Path) -> None:
    """Table, cautions and doubts follow; the journal keeps what was typed."""
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        await to_engine(pilot)
        app.write(ReadingEntered(reading="compression-dry", value=1240, unit="kPa", si=1240, cylinder=1))
        await until(pilot, lambda: "1240" in screen_text(app))
        await pilot.press("u", "p", "enter")
        await until(pilot, lambda: "Dry psi" in screen_text(app) and " 180 " in screen_text(app))
        assert app.job.reading("compression-dry", 1).unit == "kPa"
        await pilot.press("a")
        await until(pilot, lambda: "All cautions" in screen_text(app))
        for _ in range(8):
            assert "kPa" not in screen_text(app)
            await pilot.press("space")
            await settle(pilot)
