"""Every path through a round, with a fake microphone: each protects a promise made to the person at the bench."""

from __future__ import annotations

import time
from pathlib import Path

import msgspec
from bay import (
    banner,
    bench,
    clip,
    read_cautions,
    screen_text,
    settle,
    settled,
    to_engine,
    to_quiet_walk,
    to_round,
    type_text,
    until,
    walk,
    words,
)
from fakes import QUICK, FakeAnalyst, FakeSource, result_for
from textual.widgets import Input

from listen.jobs.events import (
    CautionAcknowledged,
    Confirmed,
    Event,
    Judged,
    Overruled,
    ReadingEntered,
    RoundOpened,
    SentBack,
    StepPassed,
)
from listen.jobs.folder.store import open_job
from listen.jobs.walk import Step
from listen.trade.engine import layout
from tui.bridge.others import news_words
from tui.screens.dialog import PickScreen
from tui.screens.round import ways
from tui.screens.round.taker import Taker
from tui.screens.verdict.screen import VerdictScreen, remarks
from tui.widgets.ladder import Ladder, Mark, Standing

STEPS = ("supply", "loss", "quiet", "call", "air", "closing", "bubbles")


def job_folder(tmp_path: Path) -> Path:
    return next((tmp_path / "jobs").glob("[!.]*"))


async def test_enter_and_page_down_record_as_well(tmp_path: Path) -> None:
    """A presenter remote is a record key."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen, "enter")
        await clip(pilot, screen, "pagedown")
        assert [c.kept.point for c in screen.record.live_clips()] == ["intake", "tailpipe"]


async def test_page_down_reads_and_acknowledges_the_cautions(tmp_path: Path) -> None:
    """The list of them would scroll by it, and never be done."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_round(pilot)
        assert await read_cautions(pilot, screen, "pagedown") < 10


async def test_numbers_stay_hidden_until_the_call(tmp_path: Path) -> None:
    """Nothing measured may lead the ear."""
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        assert screen.step().kind == "call"
        assert "after your call" in screen.query_one("LevelMeter").hush
        await pilot.press("e")
        await settle(pilot)
        assert app.screen is screen
        await pilot.press("d")
        await until(pilot, lambda: screen.step().walk == "air")
        call = screen.record.call()
        assert call is not None and call.declined
        await clip(pilot, screen)
        row = screen.query_one(Ladder).point_rows[0]
        assert row.excess_db == 4.2 and row.standing is Standing.SO_FAR


async def test_how_sure_may_be_said_with_the_call_but_need_not(tmp_path: Path) -> None:
    """Arrow keys before the answer; without them nothing is stored as if it had been said."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await until(pilot, lambda: "not said how sure" in screen_text(app))
        await pilot.press("right", "right", "right", "right", "right", "left")
        await until(pilot, lambda: "80 % sure" in screen_text(app))
        await pilot.press("2")
        await until(pilot, lambda: screen.record.call() is not None)
        assert screen.record.call().sure == 0.8 and screen.record.call().paths == ("exhaust-valve",)
        assert remarks(app.job, screen.record).plain.startswith(
            "The tech called by ear, before any number was shown: exhaust valve, 80 % sure."
        )


async def test_a_clip_that_cannot_be_believed_is_asked_for_again(tmp_path: Path) -> None:
    """It is taken back with the reason, and the same point is due again."""
    app = bench(tmp_path, analyst=FakeAnalyst(refuse={1}))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        assert screen.step().point == "intake"
        assert "Again, because: 12 samples are clipped" in banner(screen)
        (record,) = screen.record.clips
        assert record.taken_back and "clipped" in record.reason
        assert screen.bay.open_job is not None and screen.bay.open_job.clip_path(record.id).exists()
        assert screen.query_one(Ladder).point_rows[0].marks[0] is Mark.NEXT
        await clip(pilot, screen)
        assert screen.step().point == "tailpipe"


async def test_take_back_makes_the_step_due_again(tmp_path: Path) -> None:
    """One key, and the file stays."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        await clip(pilot, screen)
        await pilot.press("backspace")
        await until(pilot, lambda: screen.step().point == "tailpipe")
        assert len(screen.record.live_clips()) == 1 and len(screen.record.clips) == 2


async def test_skip_asks_for_a_reason_and_keeps_it(tmp_path: Path) -> None:
    """A point left out is left out of the walks that need it, with the reason."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "Why is" in words(app))
        await pilot.press("escape")
        await until(pilot, lambda: "Why is" not in words(app))
        assert screen.step().point == "intake"
        await pilot.press("s", "1")
        await until(pilot, lambda: screen.step().point == "tailpipe")
        assert screen.record.skips[0].reason == "cannot be reached"
        assert screen.query_one(Ladder).point_rows[0].standing is Standing.HIDDEN
        await pilot.press("s", "w")
        await until(pilot, lambda: screen.step().id == "call")


async def test_nothing_is_recorded_into_a_job_that_is_open_to_read_only(tmp_path: Path) -> None:
    """Said at the first key, not by a whole walk in which every clip is refused and taken once more."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        folder = app.open_job.folder
        app.take(open_job(folder, write=False))
        for key in ("space", "h"):
            await pilot.press(key)
            await until(pilot, lambda: "open to read only" in words(app))
            assert not screen.now.busy and screen.now.taking is None
            screen.change(outcome=None)
            await until(pilot, lambda: "open to read only" not in words(app))
        assert not list((folder / "parts").iterdir())


async def test_the_microphone_goes_away_in_the_middle(tmp_path: Path) -> None:
    """The error is a sentence, what had arrived can be kept, and the round goes on."""
    app = bench(tmp_path, source=FakeSource(["lost"]))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        assert "cut short" in words(app)
        assert "went away after 0.4 s; what had arrived is kept. A take" in words(app), "why stands beside the question"
        assert "keep it as this clip: intake, air off" in words(app)
        await pilot.press("k")
        await until(pilot, lambda: bool(screen.record.live_clips()))
        (kept,) = screen.record.live_clips()
        assert kept.kept.recovered and kept.kept.seconds < 1
        await until(pilot, lambda: screen.listener.trouble == "")
        await clip(pilot, screen)
        assert screen.step().point == "oil-filler"


async def test_a_microphone_that_fails_in_a_way_of_its_own_is_a_sentence_not_a_wait(tmp_path: Path) -> None:
    """The thread that opens it is the only one that knows: the screen would say "opening" for ever."""

    class Odd(FakeSource):
        def open(self) -> None:
            raise RuntimeError("Error initializing PortAudio")

    app = bench(tmp_path, source=Odd())
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await pilot.press("r")
        await until(
            pilot, lambda: "cannot be used" in str(getattr(getattr(app.screen, "listener", None), "trouble", ""))
        )


async def test_a_full_disk_costs_nothing_but_the_clip(tmp_path: Path) -> None:
    """The sentence says so; the step stays due."""
    app = bench(tmp_path, source=FakeSource(["full"]))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        assert "No space left" in banner(screen) and screen.step().point == "intake"
        await clip(pilot, screen)
        assert screen.step().point == "tailpipe"


async def test_a_journal_that_cannot_be_written_changes_nothing(tmp_path: Path, monkeypatch) -> None:
    """The same for an event."""
    from listen import durable

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_round(pilot)
        monkeypatch.setattr(durable, "append", refuse)
        await settle(pilot)
        await pilot.press("space", "space")
        await until(pilot, lambda: "Not written" in banner(screen) and "disk is full" in banner(screen))
        assert screen.step().kind == "caution"
        monkeypatch.undo()
        await read_cautions(pilot, screen)


async def test_escape_stops_a_clip_and_keeps_nothing(tmp_path: Path) -> None:
    """Not even a left-over take."""
    source = FakeSource(["slow"])
    app = bench(tmp_path, source=source, preferences=msgspec.structs.replace(QUICK, clip_s=10.0))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("space")
        await until(pilot, source.recording.is_set)
        await pilot.press("escape")
        await until(pilot, lambda: not screen.now.busy)
        assert "not kept" in banner(screen) and not screen.record.clips
        assert not list((job_folder(tmp_path) / "parts").iterdir())
        assert app.screen is screen


async def test_quit_within_half_a_second_while_recording_then_resume(tmp_path: Path) -> None:
    """What was kept is there, what was being taken is offered, the round goes on where it was."""
    for place in (tmp_path / n for n in "123"):  # again only where the machine stood still for a moment
        took_s = await quit_while_recording(place)
        if took_s < QUIT_S:
            break
    assert took_s < QUIT_S
    again = bench_again(place)
    async with again.run_test(size=(80, 24)) as pilot:
        screen = await to_round(pilot)
        if isinstance(again.screen, PickScreen):
            await pilot.press("d")
            await until(pilot, lambda: again.screen is screen)
        assert screen.step().point == "tailpipe" and screen.step().walk == "quiet"
        assert len(screen.record.live_clips()) == 1


QUIT_S = 0.5 + 0.3
"""The promise, and the pilot's own teardown."""


async def quit_while_recording(place: Path) -> float:
    """One clip kept, Ctrl+Q in the middle of the second; seconds until all has ended."""
    place.mkdir()
    source = FakeSource(["ok", "slow"])
    app = bench(place, source=source, preferences=msgspec.structs.replace(QUICK, clip_s=10.0))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await clip(pilot, screen)
        await pilot.press("space")
        await until(pilot, source.recording.is_set)
        began = time.monotonic()
        await pilot.press("ctrl+q")
        await until(pilot, lambda: app._exit)
    return time.monotonic() - began


def bench_again(tmp_path: Path):
    from fakes import FakeServices

    from tui.app import HisswayApp

    return HisswayApp(services=FakeServices(tmp_path))


async def test_resize_loses_nothing(tmp_path: Path) -> None:
    """From wide to narrow and back while a clip is under way."""
    app = bench(tmp_path, engine=layout("v6"))
    async with app.run_test(size=(160, 45)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("space")
        await pilot.resize_terminal(80, 24)
        await until(pilot, lambda: settled(screen))
        await until(pilot, lambda: all(words in screen_text(app) for words in ("plug hole 2", "Kept: intake")))
        assert app.focused is not None
        await pilot.resize_terminal(100, 30)
        await until(pilot, lambda: "plug hole of cylinder 2" in screen_text(app))


async def test_hands_free_leads_through_a_walk_by_tones(tmp_path: Path, monkeypatch) -> None:
    """One key for the whole walk; tones only between clips."""
    monkeypatch.setattr(ways, "AFTER_TONE_S", 0.1)
    source = FakeSource()
    app = bench(tmp_path, source=source)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("h")
        await until(pilot, lambda: screen.step().kind == "call" and not screen.now.led, 20)
        played = [name for name, _ in app.services.fake_player.played]
        assert played == ["cue ready", "cue kept"] * 4 + ["cue done"]
        assert len(source.recorded) == 4


async def test_a_walk_that_goes_on_by_itself_is_stopped_by_any_letter(tmp_path: Path) -> None:
    """Whoever sees something wrong presses what is under the hand; Space may only have come late."""
    app = bench(tmp_path, preferences=msgspec.structs.replace(QUICK, move_s=30.0))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("space")
        await until(pilot, lambda: "walk to: tailpipe" in screen_text(app) and "Esc stops" in screen_text(app))
        await pilot.press("x")
        await until(pilot, lambda: not screen.now.led)
        assert [c.kept.point for c in screen.record.live_clips()] == ["intake"]


async def test_ctrl_z_gives_the_terminal_back_but_while_a_clip_is_taken(tmp_path: Path, monkeypatch) -> None:
    """A program that stands still hears nothing; a terminal that cannot bring it back is told of."""
    stood: list[object] = []
    app = bench(tmp_path, preferences=msgspec.structs.replace(QUICK, before_s=30.0))
    monkeypatch.setattr(app, "action_suspend_process", lambda: stood.append(app))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("ctrl+z")
        await until(pilot, lambda: any("Ctrl+Q leaves" in n.message for n in app._notifications))
        monkeypatch.setattr(type(app._driver), "can_suspend", True)
        await pilot.press("space", "ctrl+z")
        await until(pilot, lambda: any("a clip is being taken, Esc stops it" in n.message for n in app._notifications))
        assert not stood
        await pilot.press("escape")
        await until(pilot, lambda: not screen.now.busy)
        await pilot.press("ctrl+z")
        await until(pilot, lambda: stood == [app])


async def test_hands_free_stops_where_somebody_has_to_look(tmp_path: Path, monkeypatch) -> None:
    """Two refusals at one point."""
    monkeypatch.setattr(ways, "AFTER_TONE_S", 0.1)
    app = bench(tmp_path, analyst=FakeAnalyst(refuse={1, 2}))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("h")
        await until(pilot, lambda: len(screen.record.clips) == 2 and not screen.now.led, 20)
        assert app.services.fake_player.played[-1][0] == "cue again"
        assert screen.step().point == "intake"


async def test_hands_free_waits_for_no_check_and_sends_back_at_once(tmp_path: Path, monkeypatch) -> None:
    """The walk to the next point ends where the clip before is refused; Space says that one is there already."""
    monkeypatch.setattr(ways, "AFTER_TONE_S", 0.1)
    slow = msgspec.structs.replace(QUICK, move_s=60.0)
    app = bench(tmp_path, analyst=FakeAnalyst(refuse={1}), preferences=slow)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("h")
        for point, clips in (("intake", 0), ("intake", 1), ("tailpipe", 2)):
            await until(pilot, lambda p=point, n=clips: screen.step().point == p and len(screen.record.clips) == n)
            await until(pilot, lambda: screen.query_one("Countdown").count is not None)
            await pilot.press("space")
        await until(pilot, lambda: len(screen.record.clips) == 3)
        assert [c.taken_back for c in screen.record.clips] == [True, False, False]
        await pilot.press("escape")
        await until(pilot, lambda: not screen.now.led)


async def test_a_reason_that_was_typed_is_dropped_by_a_second_escape_only(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("s", "o", *"hose", "escape")
        await until(pilot, lambda: "Esc again drops it" in screen_text(app))
        assert app.screen is not screen
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        assert not screen.record.skips
        await pilot.press("s", "o", *"hose", "escape", "enter")
        await until(pilot, lambda: [s.reason for s in screen.record.skips] == ["hose"])


async def test_a_point_is_taken_with_one_key_and_the_air_is_called_for_anew_where_a_clip_is_refused(
    tmp_path: Path, monkeypatch
) -> None:
    """The air goes back to what the refused clip needs; what is announced is what is recorded; 0 s: a key each."""
    monkeypatch.setattr(ways, "AFTER_TONE_S", 0.0)
    called: list[str] = []
    pause = Taker.pause

    async def logged(self: Taker, step: Step, word: str, seconds: float, more: str) -> bool:
        called.append(f"{step.walk}: {word}")
        return await pause(self, step, word, seconds, more)

    monkeypatch.setattr(Taker, "pause", logged)
    quick = msgspec.structs.replace(QUICK, air_s=0.01)
    app = bench(tmp_path, analyst=FakeAnalyst(refuse={2, 4}), preferences=quick, way="each-point")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("space")
        await until(pilot, lambda: screen.step().point == "tailpipe" and not screen.now.led, 20)
        on, off = "AIR ON, slowly, to full pressure", "AIR OFF"
        assert called == [
            f"air: {on}",
            f"closing: {off}",
            f"air: {on}",
            f"closing: {off}",
            "closing: once more: intake",
        ]
        walks = [c.kept.walk for c in screen.record.clips if not c.taken_back]
        assert walks == ["quiet", "air", "closing"]
        app.prefer(air_s=0.0)
        await clip(pilot, screen)
        assert not screen.now.led and screen.step().walk == "air" and len(called) == 5


async def test_a_doubtful_figure_is_asked_about(tmp_path: Path) -> None:
    """Never swallowed, never refused: asked, and the answer is kept with it."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_round(pilot)
        await read_cautions(pilot, screen)
        await type_text(pilot, "5.5")
        await until(pilot, lambda: "5.5 bar" in words(app))
        await pilot.press("n")
        await until(pilot, lambda: "5.5 bar" not in words(app))
        await type_text(pilot, "abc")
        await until(pilot, lambda: "is not a pressure" in screen_text(app))
        await pilot.press("ctrl+u")  # one is back at the line that was refused
        await type_text(pilot, "5.5 bar")
        await type_text(pilot, "")
        await until(pilot, lambda: screen.step().id == "loss")
        reading = app.job.reading("supply")
        assert isinstance(reading, ReadingEntered) and reading.unit == "bar" and reading.si == 550


async def test_another_point_can_be_chosen_and_the_verdict_is_judged_anew(tmp_path: Path) -> None:
    """After the verdict a further clip is one arrow and one key away."""
    analyst = FakeAnalyst()
    app = bench(tmp_path, analyst=analyst)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await pilot.press("1")
        await until(pilot, lambda: screen.step().walk == "air")
        await walk(pilot, screen)
        await walk(pilot, screen)
        await pilot.press("l")
        await until(pilot, lambda: screen.record.verdict is not None and not screen.now.judging)
        assert analyst.judged == 1
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await until(pilot, lambda: all(w in screen_text(app) for w in ("together", "+12.0 decibans = 95 %")))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        await pilot.press("up")
        await until(pilot, lambda: screen.step().point == "radiator" and screen.step().walk == "closing")
        await pilot.press("space")
        await until(pilot, lambda: analyst.judged == 2 and not screen.record.stale)


async def test_hostile_names_are_text(tmp_path: Path) -> None:
    """Markup, escapes, direction marks, length: shown, never obeyed."""
    title = "[bold red]x[/] \x1b[31m\u202egnp.exe [/nonsense] " + "long " * 50
    app = bench(tmp_path, title=title)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_round(pilot)
        text = screen_text(app)
        assert "[bold red]x[/]" in text
        assert "\x1b" not in text and "\u202e" not in text


async def test_two_programs_have_a_job_open_and_one_of_them_records(tmp_path: Path) -> None:
    """What each writes the other shows within seconds; clips only at the bench, and who has it is said."""
    app = bench(tmp_path)
    with open_job(job_folder(tmp_path), actor="Ann") as held:
        held.append(RoundOpened(round_id="c1-abc", cylinder=1))
        async with app.run_test(size=(80, 24)) as pilot:
            screen = await to_round(pilot)
            await read_cautions(pilot, screen)
            held.append(*(StepPassed(round_id="c1-abc", step=s, reason="x") for s in ("supply", "loss")))
            assert held.job.round("c1-abc").cautions, "what was read on the screen came first"
            await until(pilot, lambda: screen.step().kind == "clip")
            await until(pilot, lambda: "Ann, elsewhere: 2 × step passed." in [n.message for n in app._notifications])
            await pilot.press("space")
            await until(pilot, lambda: "has this job at the engine" in banner(screen))
            held.close()
            await clip(pilot, screen)
            await until(pilot, lambda: len(screen.record.live_clips()) == 1)


def test_how_a_decision_fell_elsewhere_is_not_told() -> None:
    """Whether a supervisor agreed says what the numbers are, and someone here may be listening blind."""
    confirmed = Confirmed(round_id="r", name="Ida")
    overruled = Overruled(round_id="r", name="Ida", paths=("rings",), reason="heard it at the filler")
    for payload in (confirmed, overruled):
        event = Event(id="e", time="2026-03-17T08:24:00Z", actor="Ida", payload=payload, line="0" * 64)
        assert news_words((event,)) == "Ida, elsewhere: decided."


async def test_a_clip_asked_for_and_refused_says_why_until_it_is_left_out(tmp_path: Path) -> None:
    """The reason stays on the screen, the good figure stays, and leaving it out ends the request."""
    app = bench(tmp_path, analyst=FakeAnalyst(refuse=set(range(1, 99))))
    with open_job(job_folder(tmp_path)) as opened:
        opened.append(
            RoundOpened(round_id="c1-abc", cylinder=1), CautionAcknowledged(caution="set-up", round_id="c1-abc")
        )
        opened.append(*(StepPassed(round_id="c1-abc", step=s, reason="x") for s in STEPS))
        opened.append(Judged(round_id="c1-abc", result=result_for(["intake"]), clips=()))
        opened.append(SentBack(round_id="c1-abc", name="Bo", point="intake", clip_kind="air", reason="once more"))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_round(pilot)
        for _ in range(2):
            await clip(pilot, screen)
            await settle(pilot)
            assert "Again" in banner(screen) and "the supervisor asks" in banner(screen), banner(screen)
        await pilot.press("s", "1")
        await until(pilot, lambda: screen.step().kind == "done")
        assert not screen.record.skips and screen.record.verdict is not None and app.services.fake_analyst.judged == 0


async def test_clips_recorded_elsewhere_are_brought_in_and_checked(tmp_path: Path) -> None:
    """A folder by its names, a single file as the clip that is due; what cannot be believed is taken back."""
    import numpy as np

    from listen.audio.write import write_clip
    from listen.signal.clip import Clip

    phone = tmp_path / "phone"
    phone.mkdir()
    noise = Clip.of(np.random.default_rng(3).standard_normal(48_000) * 0.01, 48_000)
    for name in ("intake-quiet-1", "tailpipe-quiet-1"):
        write_clip(phone / f"{name}.flac", noise)
    write_clip(tmp_path / "REC0042.flac", noise)
    app = bench(tmp_path, analyst=FakeAnalyst(refuse={2}))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("i")
        await until(pilot, lambda: isinstance(app.focused, Input))
        await type_text(pilot, str(phone))
        await until(pilot, lambda: screen.now.outcome is not None)
        await until(pilot, lambda: "2 clips imported" in banner(screen))
        assert "Taken back, tailpipe-quiet-1.flac" in banner(screen)
        assert screen.step().point == "tailpipe"
        await pilot.press("i")
        await until(pilot, lambda: isinstance(app.focused, Input))
        await type_text(pilot, str(tmp_path / "nothing"))
        await until(pilot, lambda: "Nothing is there" in screen_text(app))
        await pilot.press("ctrl+u")
        await type_text(pilot, str(tmp_path / "REC0042.flac"))
        await until(pilot, lambda: screen.step().point == "oil-filler")
        (clip_,) = screen.record.live_clips("tailpipe", "quiet")
        assert clip_.kept.imported_from == "REC0042.flac"
