"""A clean round of four points from `r` to the verdict: keys pressed, digits included, and seconds spent waiting."""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from pathlib import Path

import msgspec
import pytest
from bay import banner, bench, settle, to_engine, until
from fakes import QUICK, FakeAnalyst
from textual.pilot import Pilot

from listen.jobs.events import ReadingEntered
from listen.jobs.folder.store import open_job
from tui.app import HisswayApp
from tui.bridge.preferences import Preferences
from tui.screens.round import ways
from tui.screens.round.screen import RoundScreen

CLIPS = 12
MOST_WAITING_S = 92.0
"""What it was when a check had to be over before the next take."""
USUAL = Preferences()


class SlowAnalyst(FakeAnalyst):
    """Every check goes on until the next clip is there, or until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.held: list[tuple[Future, Future]] = []

    def check(self, path: Path, at: str, quiet: Path | None, on_s: tuple = ()) -> Future:
        self.let_go()
        self.held.append((super().check(path, at, quiet, on_s), Future()))
        return self.held[-1][1]

    def let_go(self) -> None:
        while self.held:
            done, waited_for = self.held.pop()
            waited_for.set_result(done.result())


class Tech:
    """Presses keys and counts them."""

    def __init__(self, pilot: Pilot) -> None:
        self.pilot, self.keys = pilot, 0
        self.while_checked = 0
        """Takes begun while a clip before was still being checked."""
        self.waited_s = 0.0
        """From the end of the last take to the verdict."""

    async def press(self, key: str, ready: Callable[[], bool]) -> None:
        self.keys += 1
        await self.pilot.press(key)
        await until(self.pilot, ready, 20)


async def with_space(tech: Tech, screen: RoundScreen) -> None:
    """A key a clip; the next one as soon as the take is over, whatever is being checked."""
    walk = screen.step().walk
    while screen.step().kind == "clip" and screen.step().walk == walk:
        taken = len(screen.record.clips)
        tech.while_checked += bool(screen.now.checking)
        await tech.press("space", lambda n=taken: len(screen.record.clips) > n and not screen.now.busy)


async def walk_by_walk(tech: Tech, screen: RoundScreen) -> None:
    """A key a walk: whoever needs no more time than was set says nothing at the points after the first."""
    walk = screen.step().walk
    await tech.press("space", lambda: screen.step().walk != walk and not screen.now.busy)


async def hands_free(tech: Tech, screen: RoundScreen) -> None:
    """A key a walk."""
    walk = screen.step().walk
    await tech.press("h", lambda: screen.step().walk != walk and not screen.now.busy)


async def by_point(tech: Tech, screen: RoundScreen) -> None:
    """A key a point: quiet, air and quiet while the microphone stays."""
    while screen.step().kind == "clip":
        taken = len(screen.record.clips)
        await tech.press("space", lambda n=taken: len(screen.record.clips) == n + 3 and not screen.now.busy)


async def clean_round(
    app: HisswayApp, analyst: FakeAnalyst, walk: Callable[[Tech, RoundScreen], Awaitable[None]]
) -> Tech:
    """The whole of it at 80x24."""
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        app.write(ReadingEntered(reading="supply", value=550, unit="kPa", si=550))
        tech = Tech(pilot)
        await tech.press("r", lambda: isinstance(app.screen, RoundScreen))
        screen = app.screen
        assert isinstance(screen, RoundScreen)
        await until(pilot, lambda: screen.listener.reading is not None)
        while screen.step().kind == "caution":
            await settle(pilot)
            await tech.press("space", lambda: True)
        await until(pilot, lambda: screen.step().id == "loss")
        for key in ("2", "7"):
            await tech.press(key, lambda: True)
        await tech.press("enter", lambda: screen.step().walk == "quiet")
        await walk(tech, screen)
        await tech.press("1", lambda: screen.record.call() is not None)
        await settle(pilot)
        while screen.step().kind == "clip":
            await walk(tech, screen)
        last = time.process_time()  # what else the machine does is not what the program makes one wait for
        if isinstance(analyst, SlowAnalyst):
            analyst.let_go()
        await tech.press("n", lambda: screen.record.verdict is not None)
        tech.waited_s = time.process_time() - last
        await until(pilot, lambda: "The intake valve leaks" in banner(screen))
        record = screen.record
        assert len(record.live_clips()) == CLIPS and not screen.now.checking
        assert record.cautions == ("set-up",)
        call = record.call()
        assert call is not None and call.paths == ("intake-valve",) and call.before_numbers and call.sure is None
        folder = app.open_job.folder
    with open_job(folder, write=False) as again:
        assert again.job.rounds[0].verdict is not None
    return tech


@pytest.mark.parametrize(
    ("walk", "most_keys"), [(with_space, 20), (walk_by_walk, 11), (hands_free, 11), (by_point, 12)]
)
async def test_a_clean_round(tmp_path: Path, monkeypatch, walk, most_keys: int) -> None:
    """Takes and pauses last no time here: what is left is what the program itself makes one wait for.

    The way from point to point, and turning the air, is the tech's own: nobody waits for the program meanwhile.
    """
    led = {with_space: 0, walk_by_walk: CLIPS - 3, hands_free: CLIPS, by_point: CLIPS - 4}[walk]
    takes_s = CLIPS * USUAL.clip_s + led * ways.AFTER_TONE_S + (CLIPS - led) * USUAL.before_s
    monkeypatch.setattr(ways, "AFTER_TONE_S", 0.0)
    analyst = SlowAnalyst() if walk is with_space else FakeAnalyst()
    way = "each-point" if walk is by_point else "walks"
    quick = msgspec.structs.replace(QUICK, air_s=0.01, move_s=0.01 * (walk is walk_by_walk))
    tech = await clean_round(bench(tmp_path, analyst=analyst, way=way, preferences=quick), analyst, walk)
    waiting_s = takes_s + tech.waited_s
    print(f"{walk.__name__}: {tech.keys} keys, {waiting_s:.0f} s waiting for takes and for the program")
    assert tech.keys <= most_keys
    assert waiting_s < MOST_WAITING_S
    assert tech.while_checked == (CLIPS - 1 if walk is with_space else 0), "one had to wait for checks"
