"""A round taken with the air switched at a standing microphone: few keys, cautions first, numbers after the call."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest
from bay import (
    banner,
    bench,
    clip,
    read_cautions,
    screen_text,
    settle,
    settled,
    to_quiet_walk,
    type_text,
    until,
    words,
)
from bay import to_round as to_the_round
from fakes import QUICK, FakeMany
from textual.pilot import Pilot

from listen import switched_take
from listen.jobs.events import ClipTakenBack, WayChosen
from listen.jobs.folder.store import open_job
from listen.jobs.to_round import to_round
from listen.jobs.ways import SWITCHED
from listen.lab.simulator.simulated_microphone import SimulatedMicrophone
from listen.rounds.check import check_take
from listen.rounds.evaluate import evaluate
from listen.trade.points import Kind
from tests.demo.scenes import demo_scene
from tui.screens.cautions import CautionScreen
from tui.screens.channels import ChannelsScreen, for_these
from tui.screens.dialog import PickScreen
from tui.screens.round.screen import RoundScreen
from tui.widgets.plots import LevelPlot, SpectraPlot

TAKE_S = switched_take.switched_s(switched_take.CYCLES, switched_take.PERIOD_S)


async def first_take(pilot: Pilot, screen: RoundScreen) -> int:
    """The key and the cautions that stand before it; gives the keys pressed."""
    keys = 1
    await pilot.press("space")
    await until(pilot, lambda: isinstance(pilot.app.screen, CautionScreen))
    assert "crank is held" in screen_text(pilot.app)
    while isinstance(pilot.app.screen, CautionScreen):
        await settle(pilot)
        await pilot.press("space")
        await settle(pilot)
        keys += 1
    return keys


async def to_the_verdict(pilot: Pilot, screen: RoundScreen) -> int:
    """Call, bubbles, needle; gives the keys pressed."""
    assert screen.step().kind == "call"
    await pilot.press("1")
    await until(pilot, lambda: screen.step().kind == "bubbles")
    await pilot.press("n")
    await until(pilot, lambda: screen.step().kind == "followed")
    await pilot.press("y")
    await until(pilot, lambda: screen.step().kind == "done")
    return 3


async def test_which_way_suits_is_asked_once_a_job(tmp_path: Path) -> None:
    """One sentence each, point by point first; the answer orders the steps, stays, and may be changed."""
    app = bench(tmp_path, way="")
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_the_round(pilot)
        await read_cautions(pilot, screen)
        await type_text(pilot, "550")
        await type_text(pilot, "1.0")
        await until(pilot, lambda: screen.step().id == "loss")
        await type_text(pilot, "27")
        await until(pilot, lambda: screen.step().kind == "way")
        await settle(pilot)
        shown = words(app)
        for said in ("point by point", "walk by walk", "quarter-turn valve in the hose", "microphone at every point"):
            assert said in shown
        assert shown.index("point by point") < shown.index("walk by walk")
        await pilot.press("1")
        await until(pilot, lambda: screen.step().kind == "clip")
        taken = []
        while screen.step().kind == "clip":
            taken.append((screen.step().point, screen.step().walk))
            await clip(pilot, screen)
        assert taken[:4] == [("intake", "quiet"), ("intake", "air"), ("intake", "closing"), ("tailpipe", "quiet")]
        assert screen.step().kind == "call"
        app.write(WayChosen(way="switched"))
        assert screen.step().kind == "call"  # what was taken counts in every way
        await pilot.press("1")
        await until(pilot, lambda: screen.step().kind == "bubbles")
        await pilot.press("n")
        await until(pilot, lambda: screen.step().kind == "done")
        await pilot.press("w")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        assert "[2] walk by walk" in words(app), "the keys it was first asked with"
        await pilot.press("2")
        await until(pilot, lambda: app.job.way == "walks")


async def test_four_points_take_at_most_ten_keys_and_a_hundred_seconds(tmp_path: Path) -> None:
    """From the first point to the verdict; waiting by design, printed."""
    app = bench(tmp_path, way="switched")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        keys = await first_take(pilot, screen)
        await until(pilot, lambda: settled(screen))
        assert screen.record.cautions == ("set-up", "switching")
        while screen.step().kind == "clip":
            await pilot.press("space")
            keys += 1
            await until(pilot, lambda: settled(screen))
        clips = screen.record.live_clips()
        waiting_s = len(clips) * TAKE_S
        keys += await to_the_verdict(pilot, screen)
        print(f"air switched, one microphone: {keys} keys, {waiting_s:.0f} s")
        assert (keys <= 10, waiting_s <= 100.0) == (True, True), (keys, waiting_s)
        await pilot.press("e")
        await until(pilot, lambda: "louder on the whole" in screen_text(app))
        assert app.screen.query_one(LevelPlot).display and not app.screen.query_one(SpectraPlot).display
        assert "4 cycles, edges as commanded" in words(app)
        assert "Other picture" not in words(app) and "Knocks apart" not in words(app), "keys that would do nothing"
        app.services.fake_player.played.clear()
        await pilot.press("3")  # the halves with the air off and on, after each other
        await until(pilot, lambda: len(app.services.fake_player.played) == 2)
        await pilot.press("escape")
        assert [c.kept.clip_kind for c in clips] == [SWITCHED] * 4
        assert all(c.kept.on_s == ((2.5, 5.0), (7.5, 10.0), (12.5, 15.0), (17.5, 20.0)) for c in clips)
    with open_job(next((tmp_path / "jobs").glob("[!.]*")), write=False) as again:
        assert {t.kind for t in to_round(again.job, again.job.rounds[0].id, again.folder).takes} == {Kind.SWITCHED}


async def test_a_microphone_at_every_point_takes_the_cylinder_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At most 45 s and 6 keys once the microphones have their places, which the taps give; one take, a clip a point."""
    monkeypatch.setattr("tui.screens.channels.SIMULATED_AFTER_S", np.inf)  # only this test taps
    source = FakeMany(5)
    app = bench(tmp_path, way="all-at-once", source=source)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        assert "One take of all points that are due" in screen.step().sentence
        keys = await first_take(pilot, screen)
        await until(pilot, lambda: isinstance(app.screen, ChannelsScreen))
        assert "intake: tap its microphone now" in words(app).lower()
        for channel in (2, 0, 3):
            given = len(app.screen._given)
            app.screen._rest_s = 0.0

            def heard(n: int = given, channel: int = channel) -> bool:
                """Tapped until it is: a tap before a second of sound is there cannot be told from the shop."""
                return len(app.screen._given) > n or bool(source.tap(channel))

            await until(pilot, heard)
        await pilot.press("5")  # a digit instead of a tap
        await until(pilot, lambda: settled(screen))
        clips = screen.record.live_clips()
        assert {c.kept.point for c in clips} == {"intake", "tailpipe", "oil-filler", "radiator"}
        assert len({c.kept.together for c in clips}) == 1 and clips[0].kept.together
        assert app.preferences.channels["fake microphone"] == ("tailpipe", "", "intake", "oil-filler", "radiator")
        keys += await to_the_verdict(pilot, screen)
        waiting_s = 2.0 + TAKE_S
        print(f"all at once: {keys} keys besides the taps, {waiting_s:.1f} s")
        assert (keys <= 6, waiting_s <= 45.0) == (True, True), (keys, waiting_s)


async def test_digits_reach_all_sixteen_channels(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A 1 waits for its second digit, or for Enter, however slow the hand; Backspace takes it back."""
    monkeypatch.setattr("tui.screens.channels.SIMULATED_AFTER_S", np.inf)  # nobody taps
    app = bench(tmp_path, way="all-at-once", source=FakeMany(16))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        asks, places = ChannelsScreen(screen.listener, screen.points()), []
        app.push_screen(asks, places.append)
        await until(pilot, lambda: "1 to 16" in words(app))
        await pilot.press("s", "s", "s", "s")
        await until(pilot, lambda: "one point at least needs a microphone" in words(app))
        await pilot.press("backspace", "backspace", "backspace")
        await pilot.press("1", "9")
        await until(pilot, lambda: "this input has 16 channels" in words(app))
        await pilot.press("1", "6")
        await until(pilot, lambda: "channel 16" in words(app))
        await pilot.press("1")
        await until(pilot, lambda: "Enter for channel 1" in words(app))
        await pilot.press("backspace", "1", "enter", "1", "0", "1", "0", "2")
        await until(pilot, lambda: bool(places))
    at = {point: channel + 1 for channel, point in enumerate(places[0]) if point}
    assert at == {"intake": 16, "tailpipe": 1, "oil-filler": 10, "radiator": 2}, at


async def test_before_air_a_dead_channel_is_told_and_in_mid_take_the_others_are_kept(tmp_path: Path) -> None:
    source = FakeMany(4)
    app = bench(tmp_path, way="all-at-once", source=source, preferences=PLACED)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        source.mute = {1}
        await until(pilot, lambda: quiet_now(screen, 1))
        await first_take(pilot, screen)
        await until(pilot, lambda: settled(screen))
        assert "Channel 2, tailpipe: sends nothing but zeros" in screen.now.outcome.sentence
        assert screen.now.outcome.lead == "No air yet" and not source.recorded
        source.mute, source.dies = set(), {2}
        await until(pilot, lambda: not quiet_now(screen, 1))
        await pilot.press("space")
        await until(pilot, lambda: settled(screen))
        assert {c.kept.point for c in screen.record.live_clips()} == {"intake", "tailpipe", "radiator"}
        assert "Oil filler: channel 3 sends nothing but zeros" in screen.now.outcome.sentence
        assert (screen.step().point, screen.step().walk) == ("oil-filler", SWITCHED)
        source.dies = set()
        await pilot.press("space")
        await until(pilot, lambda: settled(screen) and screen.step().kind == "call")
        assert len(screen.record.live_clips()) == 4


async def test_swapped_plugs_are_told_before_air_and_may_be_overridden(tmp_path: Path) -> None:
    source = FakeMany(4)
    app = bench(tmp_path, way="all-at-once", source=source, preferences=PLACED)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await first_take(pilot, screen)
        await until(pilot, lambda: settled(screen))
        app.write(ClipTakenBack(clip=screen.record.live_clips()[0].id))
        screen.change(outcome=None)
        source.colours = [0, 2, 1, 3]
        await until(pilot, lambda: bool(np.array_equal(screen.listener.recent(1.5)[0][960], source.drain()[0][0])))
        await pilot.press("space")
        await until(pilot, lambda: settled(screen))
        assert "swapped" in screen.now.outcome.sentence, (screen.now.outcome, screen.step(), app.preferences.prints)
        await pilot.press("space")
        await until(pilot, lambda: len(screen.record.live_clips()) == 4)


PLACED = msgspec.structs.replace(QUICK, channels={"fake microphone": ("intake", "tailpipe", "oil-filler", "radiator")})


def quiet_now(screen: RoundScreen, channel: int) -> bool:
    """Whether the channel has sent nothing but zeros for as long as is listened to."""
    found = screen.listener.recent(1.5)
    return found is not None and not found[0][:, channel].any()


async def test_without_reading_the_cautions_no_air_is_switched(tmp_path: Path) -> None:
    app = bench(tmp_path, way="switched")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, CautionScreen))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        assert not screen.record.live_clips() and screen.record.cautions == ("set-up",)
        assert not app.services.fake_source.recorded


async def test_a_walk_may_go_on_at_the_other_points(tmp_path: Path) -> None:
    """Rounds mix: a point taken switched is done in every walk, the others are walked as ever."""
    app = bench(tmp_path, way="switched")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await first_take(pilot, screen)
        await until(pilot, lambda: settled(screen))
        app.write(WayChosen(way="walks"))
        await until(pilot, lambda: (screen.step().point, screen.step().walk) == ("tailpipe", "quiet"))
        await pilot.press("space")
        await until(pilot, lambda: settled(screen) and screen.step().point == "oil-filler")
        assert "Kept" in banner(screen)


def test_places_go_with_the_neighbours_of_the_next_cylinder() -> None:
    kept = ("intake", "", "plug-hole-3", "plug-hole-1")
    assert for_these(kept, ("intake", "plug-hole-2", "plug-hole-4")) == ("intake", "", "plug-hole-4", "plug-hole-2")
    assert for_these(kept, ("intake", "plug-hole-2")) == ()


def test_the_simulated_microphone_switches_and_the_judge_names_what_follows(tmp_path: Path) -> None:
    """Cylinder 5 of the demo blows past its intake valve: four takes, checked one by one, then judged."""
    from listen.audio.write import finish
    from listen.rounds.model import Facts, Round, Take
    from listen.signal.switching import commanded_times

    on_s = commanded_times(switched_take.CYCLES, switched_take.PERIOD_S)
    microphone = SimulatedMicrophone(demo_scene(5), pace=0)
    microphone.open()
    takes = []
    for point in ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole-4"):
        microphone.hold_at((point,), Kind.SWITCHED, on_s)
        part, flac = tmp_path / f"{point}.part", tmp_path / f"{point}.flac"
        import threading

        microphone.record([part], TAKE_S, threading.Event())
        finish(part, flac)
        check = check_take(flac, point, None, on_s)
        assert check.kept, check.flags
        takes.append(Take(point, Kind.SWITCHED, 1, flac, on_s=on_s))
        if point == "intake":
            assert check.excess_db is not None and check.excess_db > 3.0
    result = evaluate(
        Round("cylinder 5", tuple(takes), Facts(cylinder=5, loss_percent=41.0, supply_kpa=550.0, restrictor_mm=1.0))
    )
    assert (result.verdict.kind, result.verdict.paths) == ("path", ("intake-valve",)), result.verdict.text
    assert {p.taken for p in result.points} == {"switched"}
