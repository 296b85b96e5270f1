"""A round taken with the air switched at a standing microphone: few keys, cautions first, numbers after the call."""

from __future__ import annotations

from pathlib import Path

from bay import banner, bench, screen_text, settle, settled, to_quiet_walk, until
from textual.pilot import Pilot

from listen.jobs.folder.store import open_job
from listen.jobs.to_round import to_round
from listen.jobs.walk import SWITCHED
from listen.lab.demo_scenes import demo_scene
from listen.lab.simulator.simulated_microphone import SimulatedMicrophone
from listen.rounds.check import check_take
from listen.rounds.evaluate import evaluate
from listen.trade.points import Kind
from tui.screens.cautions import CautionScreen
from tui.screens.round import ways
from tui.screens.round.screen import RoundScreen


async def first_take(pilot: Pilot, screen: RoundScreen) -> int:
    """The key, the cautions that stand before it, the take; gives the keys pressed."""
    keys = 1
    await pilot.press("w")
    await until(pilot, lambda: isinstance(pilot.app.screen, CautionScreen))
    assert "crank is held" in screen_text(pilot.app)
    while isinstance(pilot.app.screen, CautionScreen):
        await settle(pilot)
        await pilot.press("space")
        await settle(pilot)
        keys += 1
    await until(pilot, lambda: settled(screen))
    return keys


async def test_four_points_take_at_most_ten_keys_and_a_hundred_seconds(tmp_path: Path) -> None:
    """From the first point to the call by ear; waiting by design, printed by the assertion."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        keys = await first_take(pilot, screen)
        assert screen.record.cautions == ("set-up", "switching")
        while screen.step().kind == "clip":
            await pilot.press("w")
            keys += 1
            await until(pilot, lambda: settled(screen))
        clips = screen.record.live_clips()
        waiting_s = len(clips) * (ways.CYCLES + 0.5) * ways.PERIOD_S
        assert (keys <= 10, waiting_s <= 100.0) == (True, True), (keys, waiting_s)
        assert [c.kept.clip_kind for c in clips] == [SWITCHED] * 4
        assert all(c.kept.on_s == ((2.5, 5.0), (7.5, 10.0), (12.5, 15.0), (17.5, 20.0)) for c in clips)
        assert screen.step().kind == "call"
        await pilot.press("1")
        await until(pilot, lambda: screen.step().kind in ("bubbles", "followed"))
    with open_job(next((tmp_path / "jobs").glob("[!.]*")), write=False) as again:
        assert {t.kind for t in to_round(again.job, again.job.rounds[0].id, again.folder).takes} == {Kind.SWITCHED}


async def test_without_reading_the_cautions_no_air_is_switched(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("w")
        await until(pilot, lambda: isinstance(app.screen, CautionScreen))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is screen)
        assert not screen.record.live_clips() and screen.record.cautions == ("set-up",)
        assert not app.services.fake_source.recorded


async def test_a_walk_may_go_on_at_the_other_points(tmp_path: Path) -> None:
    """Rounds mix: a point taken switched is done in every walk, the others are walked as ever."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await first_take(pilot, screen)
        assert (screen.step().point, screen.step().walk) == ("tailpipe", "quiet")
        await pilot.press("space")
        await until(pilot, lambda: settled(screen) and screen.step().point == "oil-filler")
        assert "Kept" in banner(screen)


def test_the_simulated_microphone_switches_and_the_judge_names_what_follows(tmp_path: Path) -> None:
    """Cylinder 5 of the demo blows past its intake valve: four takes, checked one by one, then judged."""
    from listen.audio.partial import finish
    from listen.rounds.model import Facts, Round, Take
    from listen.signal.switching import commanded_times

    on_s = commanded_times(ways.CYCLES, ways.PERIOD_S)
    microphone = SimulatedMicrophone(demo_scene(5), pace=0)
    microphone.open()
    takes = []
    for point in ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole-4"):
        microphone.aim(point, Kind.SWITCHED, on_s)
        part, flac = tmp_path / f"{point}.part", tmp_path / f"{point}.flac"
        import threading

        microphone.record(part, (ways.CYCLES + 0.5) * ways.PERIOD_S, threading.Event())
        finish(part, flac)
        check = check_take(flac, None, on_s)
        assert check.kept, check.flags
        takes.append(Take(point, Kind.SWITCHED, 1, flac, on_s=on_s))
        if point == "intake":
            assert check.excess_db is not None and check.excess_db > 3.0
    result = evaluate(
        Round("cylinder 5", tuple(takes), Facts(cylinder=5, loss_percent=41.0, supply_kpa=550.0, restrictor_mm=1.0))
    )
    assert (result.verdict.kind, result.verdict.paths) == ("path", ("intake-valve",)), result.verdict.text
    assert {p.taken for p in result.points} == {"switched"}
