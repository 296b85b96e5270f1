"""A clean round of four points, each way, from `r` to the verdict: keys pressed, digits included, seconds waited."""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from pathlib import Path

import msgspec
import pytest
from bay import banner, bench, settle, to_engine, until
from fakes import QUICK, FakeAnalyst, FakeMany
from textual.pilot import Pilot

from listen.jobs.events import ReadingEntered
from listen.jobs.folder.store import open_job
from listen.jobs.ways import WAYS as WAYS_OF_A_JOB
from listen.switched_take import CYCLES, PERIOD_S, switched_s
from tui.app import HisswayApp
from tui.bridge.preferences import Preferences
from tui.screens.cautions import CautionScreen
from tui.screens.round import ways
from tui.screens.round.screen import RoundScreen

CLIPS = 12
TAKE_S = switched_s(CYCLES, PERIOD_S)
POINTS = ("intake", "tailpipe", "oil-filler", "radiator")
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
        self.before = 0
        """Of these, before the first clip."""
        self.while_checked = 0
        """Takes begun while a clip before was still being checked."""
        self.waited_s = 0.0
        """From the end of the last take to the verdict."""

    async def press(self, key: str, ready: Callable[[], bool]) -> None:
        self.keys += 1
        await self.pilot.press(key)
        await until(self.pilot, lambda: ready() or isinstance(self.pilot.app.screen, CautionScreen), 20)
        while isinstance(self.pilot.app.screen, CautionScreen):  # read before air is switched
            self.keys += 1
            await settle(self.pilot)
            await self.pilot.press("space")
            await settle(self.pilot)
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
    app: HisswayApp, analyst: FakeAnalyst, walk: Callable[[Tech, RoundScreen], Awaitable[None]], *, switched: bool
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
        await tech.press("enter", lambda: screen.step().kind == "clip")
        tech.before = tech.keys
        await walk(tech, screen)
        await tech.press("1", lambda: screen.record.call() is not None)
        await settle(pilot)
        while screen.step().kind == "clip":
            await walk(tech, screen)
        last = time.process_time()  # what else the machine does is not what the program makes one wait for
        if isinstance(analyst, SlowAnalyst):
            analyst.let_go()
        await tech.press("n", lambda: screen.step().kind != "bubbles")
        if switched:
            await tech.press("y", lambda: screen.record.air_followed == "yes")
        await until(pilot, lambda: screen.record.verdict is not None, 20)
        tech.waited_s = time.process_time() - last
        await until(pilot, lambda: "The intake valve leaks" in banner(screen))
        record = screen.record
        assert len(record.live_clips()) == (4 if switched else CLIPS) and not screen.now.checking
        assert record.cautions == (("set-up", "switching") if switched else ("set-up",))
        call = record.call()
        assert call is not None and call.paths == ("intake-valve",) and call.before_numbers and call.sure is None
        folder = app.open_job.folder
    with open_job(folder, write=False) as again:
        assert again.job.rounds[0].verdict is not None
    return tech


WAYS = {
    "walks, a key a clip": (with_space, "walks", 20, 14, MOST_WAITING_S),
    "walks, a key a walk": (walk_by_walk, "walks", 11, 5, MOST_WAITING_S),
    "walks, hands-free": (hands_free, "walks", 11, 5, MOST_WAITING_S),
    "point by point": (by_point, "each-point", 12, 6, MOST_WAITING_S),
    "air switched, one microphone": (with_space, "switched", 16, 10, 100.0),
    "air switched, hands-free": (hands_free, "switched", 13, 7, 100.0),
    "all at once": (with_space, "all-at-once", 13, 6, 45.0),
}
"""By way: what the tech does, the job's way, most keys from `r` on, of those from the first clip on, and seconds."""


@pytest.mark.usefixtures("drawn_at_once")
@pytest.mark.parametrize("name", WAYS)
async def test_a_clean_round(tmp_path: Path, monkeypatch, name: str) -> None:
    """Takes and pauses last no time here: what is left is what the program itself makes one wait for.

    The way from point to point, and turning the air in a walk, is the tech's own: nobody waits for the program then.
    """
    walk, way, most_keys, most_from_first, most_s = WAYS[name]
    switched = "switched" in WAYS_OF_A_JOB[way].walks
    clips = 1 if way == "all-at-once" else 4 if switched else CLIPS
    led = {with_space: 0, walk_by_walk: clips - 3, hands_free: clips, by_point: clips - 4}[walk]
    each_s = TAKE_S if switched else USUAL.clip_s
    takes_s = clips * each_s + led * ways.AFTER_TONE_S + (clips - led) * USUAL.before_s
    monkeypatch.setattr(ways, "AFTER_TONE_S", 0.0)
    analyst = SlowAnalyst() if walk is with_space and not switched else FakeAnalyst()
    source = FakeMany(4) if way == "all-at-once" else None
    quick = msgspec.structs.replace(
        QUICK, air_s=0.01, move_s=0.01 * (walk is walk_by_walk), channels={"fake microphone": POINTS}
    )
    app = bench(tmp_path, analyst=analyst, way=way, preferences=quick, source=source)
    tech = await clean_round(app, analyst, walk, switched=switched)
    waiting_s = takes_s + tech.waited_s
    print(f"{name}: {tech.keys} keys, {tech.keys - tech.before} from the first clip on; {waiting_s:.0f} s of waiting")
    assert tech.keys <= most_keys and tech.keys - tech.before <= most_from_first
    assert waiting_s < most_s
    assert tech.while_checked == (CLIPS - 1 if isinstance(analyst, SlowAnalyst) else 0), "one had to wait for checks"
