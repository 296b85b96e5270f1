"""One walk of random keys over one folder of jobs: what must hold after every key, and that all of it comes back.

Half of the keys are those that the screen offers, the rest any; a key that leaves the program starts it again.
"""

from __future__ import annotations

import asyncio
import random
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import msgspec
from textual import events
from textual.keys import _character_to_key
from textual.pilot import Pilot
from textual.widgets import OptionList

from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.store import open_job
from listen.jobs.ledger import Line, ledger
from listen.jobs.walk import walked
from tests.keys.jobs import any_job  # puts the pilots' helpers on the path, so it comes first

# isort: split
from bay import screen_text
from fakes import QUICK, FakeAnalyst, FakeServices, FakeSource

from tui.app import HisswayApp
from tui.bridge import viewer
from tui.bridge.preferences import save
from tui.screens.dialog import PickScreen
from tui.screens.engine.screen import EngineScreen
from tui.screens.jobs.screen import JobsScreen
from tui.screens.page.screen import PageScreen
from tui.screens.round.screen import RoundScreen
from tui.screens.round.view import view

ANY = (
    *["space"] * 12,
    *["enter"] * 6,
    *["escape"] * 3,
    *("backspace", "delete", "up", "down", "left", "right", "tab", "shift+tab", "pagedown", "pageup", "home", "end"),
    *("f1", "f2", "ctrl+t", "ctrl+s"),
    *"rRoypfjcdvestnuxkwlhmabgiP?/0123456789.,-",
)
LEAVES = ("ctrl+q", "ctrl+c")
"""Pressed now and then: the program ends, and is started again."""
CHARACTERS = {"space": " ", "question_mark": "?", "slash": "/"}
"""What keys that have a name type."""
SIZES = ((80, 24), (100, 30), (160, 45))
SETTLES_S = 20.0
"""Longest that journal and screen may differ: a take is written in a thread of its own."""
OUT = 25
"""Most Escapes from anywhere to the list of jobs or an engine."""
LOOK_EVERY = 3
"""Keys between two looks into the journal: nothing that is lost comes back by itself."""
MENDED = 4
"""Lines taken up again at the end of a walk: each costs some tens of keys."""


class Broken(AssertionError):
    """Something promised did not hold."""


@dataclass
class Walk:
    """A walk under way."""

    root: Path
    seed: int
    keys: int
    pressed: list[str] = field(default_factory=list)
    screens: dict[str, int] = field(default_factory=dict)
    """Keys pressed by screen."""
    clips: set[str] = field(default_factory=set)
    """Every clip that was ever in a journal."""
    mended: int = 0

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed)
        script = [self.rng.choice(("ok",) * 6 + ("slow", "lost", "full")) for _ in range(400)]
        refuse = {self.rng.randint(1, 200) for _ in range(30)}
        self.services = FakeServices(self.root, FakeSource(script), FakeAnalyst(refuse))
        led = random.Random(f"led {self.seed}")  # whether Space takes a clip, or leads through a point or a walk
        times = {"move_s": led.choice((0.0, 0.02)), "air_s": led.choice((0.0, 0.02))}
        save(self.services.preferences_path(), msgspec.structs.replace(QUICK, **times))


async def walk(root: Path, seed: int, keys: int) -> Walk:
    """Make jobs, press keys, look after each; then take up again what was left out or taken back.

    Raises
    ------
    Broken
        With the seed, the last keys and the screen.
    """
    going = Walk(root, seed, keys)
    viewer.show_in_system = lambda path: None  # type: ignore[assignment]
    for i in range(going.rng.randint(1, 2)):
        any_job(going.rng, root / "jobs", f"Any {i}")
    while len(going.pressed) < keys:
        app, seen = HisswayApp(services=going.services), ""
        try:
            async with app.run_test(size=going.rng.choice(SIZES)) as pilot:
                try:
                    await _press_on(going, app, pilot)
                    if app.is_running and not app._exit:
                        await _take_up_again(going, app, pilot)
                except Exception:
                    seen = screen_text(app)
                    raise
        except Exception as e:
            said = app.fault or f"{type(e).__name__}: {e}"
            last = " ".join(going.pressed[-15:])
            raise Broken(f"seed {seed}, key {len(going.pressed)} ({last}): {said}\n{seen}") from e
    for folder in (root / "jobs").glob("*/journal.jsonl"):
        wrong = [m for m in verify_job(folder.parent, Against(judge=None)).mismatches if m.what != "result"]
        if wrong:
            raise Broken(f"seed {seed}: {folder.parent.name} does not verify: {wrong[:3]}")
    return going


async def _press_on(going: Walk, app: HisswayApp, pilot: Pilot[Any]) -> None:
    rng = going.rng
    while len(going.pressed) < going.keys:
        key = "enter" if isinstance(app.screen, JobsScreen) and rng.random() < 0.7 else _a_key(rng, app)
        name = type(app.screen).__name__
        going.screens[name] = going.screens.get(name, 0) + 1
        await press(going, pilot, key)
        # A busy machine lets the next key come before the program has ended.
        may_leave = not {*LEAVES, "q", "enter"}.isdisjoint(going.pressed[-3:])
        if app._exit or not app.is_running:
            if app.fault or app._exception is not None or app.return_code not in (None, 0) or not may_leave:
                raise Broken(f"the program ended: {app.fault or app._exception}")
            return
        if rng.random() < 0.3:  # else the next key comes while a take or a check is under way
            await _until(lambda: not _busy(app))
        await check(going, app)


def _a_key(rng: random.Random, app: HisswayApp) -> str:
    offered = [k for k, b in app.screen.active_bindings.items() if b.enabled and b.binding.show]
    if rng.random() < 0.004:
        return rng.choice(LEAVES)
    return rng.choice(offered) if offered and rng.random() < 0.5 else rng.choice(ANY)


async def press(going: Walk, pilot: Pilot[Any], key: str) -> None:
    """One key, and time to act on it."""
    going.pressed.append(key)
    character = key if len(key) == 1 else CHARACTERS.get(key)
    pilot.app.post_message(events.Key(_character_to_key(key) if len(key) == 1 else key, character))
    await pilot.pause(0)


def _busy(app: HisswayApp) -> bool:
    screen = app.screen
    if not isinstance(screen, RoundScreen):
        return app.journal.busy
    return bool(screen.now.busy or screen.now.checking or screen.now.judging or app.journal.busy)


async def _until(true: Any, seconds: float = SETTLES_S) -> bool:
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        await asyncio.sleep(0.005)
    return bool(true())


async def check(going: Walk, app: HisswayApp) -> None:
    """What must hold after every key."""
    if app._exception is not None or app.fault:
        raise Broken(f"a fault: {app.fault or app._exception}")
    opened = app.open_job
    if opened is None or app.job is None or len(going.pressed) % LOOK_EVERY:
        return
    end = time.monotonic() + SETTLES_S
    while True:  # a take, a check or a slow disk may be on its way to both
        with open_job(opened.folder, write=False) as read:
            written, chain = read.job, read.chain
        if app.job is None or opened is not app.open_job:
            return
        if not app.journal.busy and msgspec.msgpack.encode(app.job) == msgspec.msgpack.encode(written):
            break
        if time.monotonic() > end:
            raise Broken("the screen shows another job than the journal holds")
        await asyncio.sleep(0.01)
    now = {c.id for r in written.rounds for c in r.clips}
    here = {c for c in going.clips if c.startswith(f"{written.id}/")}
    going.clips |= {f"{written.id}/{c}" for c in now}
    if lost := here - going.clips:
        raise Broken(f"clips that were kept are gone from the journal: {lost}")
    if gone := [c for c in now if not opened.clip_path(c).is_file()]:
        raise Broken(f"clips of the journal are not on disk: {gone}")
    for cylinder in {r.cylinder for r in written.rounds}:
        lines = [x for part in ledger(chain.events(), written, cylinder) for x in part.lines]
        for record in written.rounds_of(cylinder):
            if any(s.state == "left-out" for s in walked(written, record.id).steps) and not any(
                x.round_id == record.id and x.state == "left-out" and x.may_be_taken_back for x in lines
            ):
                raise Broken("a step was left out that no line takes up again")
    await _shows_what_is_written(app, written)


async def _shows_what_is_written(app: HisswayApp, written: Any) -> None:
    """Drawn anew from the journal alone, the screen says the same."""
    screen = app.screen
    if isinstance(screen, RoundScreen):
        if screen.now.busy or app.job is None:
            return
        gauge = app.services.gauge(screen.record.cylinder)
        made, seen = view(written, screen.round_id, screen.now, app.preferences, screen.size.height, gauge), screen.view
        if (made.say, made.step, made.point_rows, made.panel) != (seen.say, seen.step, seen.point_rows, seen.panel):
            raise Broken(f"the round shows {seen.say}, the journal says {made.say}")
    elif isinstance(screen, EngineScreen | PageScreen) and screen.is_mounted and not app._notifications:
        job = app.job
        before, lines = await _settled(app), getattr(screen, "lines", None)
        if app.screen is not screen or app.job is not job:
            return  # left, or written to, by a key that was still on its way
        screen.show_job(written)
        after = await _settled(app)
        if app.screen is not screen or app._notifications:
            return
        # A page may have been scrolled: its lines are compared. Else all that is on the screen.
        if (after != before) if lines is None else (lines != getattr(screen, "lines", None)):
            raise Broken(f"the screen said\n{before}\nand says, drawn anew,\n{after}")


async def _settled(app: HisswayApp) -> str:
    """What is on the screen once it stands still: keys and tables are drawn a moment after what they tell of."""
    text = ""
    for _ in range(100):
        text, before = screen_text(app), text
        if text == before:
            break
        await asyncio.sleep(0.03)
    return text


async def _take_up_again(going: Walk, app: HisswayApp, pilot: Pilot[Any]) -> None:
    """By keys alone: out of wherever one is, and back to what was left out or taken back."""
    if not await _to_engine(going, app, pilot):
        return
    assert app.job is not None
    for cylinder in app.job.engine.cylinders[:2]:
        table = app.screen.query_one("#table")
        app.screen.set_focus(table)
        await press(going, pilot, "home")
        for _ in range(20):
            await press(going, pilot, "up")
        for _ in app.job.engine.cylinders[: app.job.engine.cylinders.index(cylinder)]:
            await press(going, pilot, "down")
        await press(going, pilot, "o")
        page = app.screen
        if not isinstance(page, PageScreen) or page.cylinder != cylinder:
            raise Broken(f"o on cylinder {cylinder} does not open its page")
        await _until(partial(_filled, page), 1.0)
        await _turn_lines(going, app, pilot, page)
        await press(going, pilot, "escape")


async def _to_engine(going: Walk, app: HisswayApp, pilot: Pilot[Any]) -> bool:
    for tries in range(OUT):
        await _until(lambda: not app.journal.busy)
        if isinstance(app.screen, JobsScreen):
            if not await _until(partial(_listed, app.screen), 2.0):
                return False  # all put away
            await press(going, pilot, "escape")
            await press(going, pilot, "enter")
            if not await _until(lambda: isinstance(app.screen, EngineScreen) and app.screen.is_mounted, 2.0):
                raise Broken("Enter on a job does not open it")
        if isinstance(app.screen, EngineScreen):
            return True
        asked_twice = isinstance(app.screen, PickScreen) and tries > OUT // 2
        for key in ("end", "enter") if asked_twice else ("escape",):  # what was typed is dropped only after a yes
            await press(going, pilot, key)
    raise Broken(f"{OUT} Escapes do not lead out of {type(app.screen).__name__}")


def _listed(jobs: JobsScreen) -> bool:
    return bool(jobs.here())


def _filled(page: PageScreen) -> bool:
    return bool(page.lines)


async def _turn_lines(going: Walk, app: HisswayApp, pilot: Pilot[Any], page: PageScreen) -> None:
    """Each line that was left out is taken back, each clip that was taken back is brought back."""
    tried: set[str] = set()
    while len(tried) < MENDED:
        line = next((x for x in page.lines.values() if x.id not in tried and _to_turn(x)), None)
        if line is None:
            return
        tried.add(line.id)
        options = page.query_one(OptionList)
        await press(going, pilot, "home")
        for _ in range(options.option_count):
            if (page.line() or line).id == line.id:
                break
            await press(going, pilot, "down")
        was = line.state
        await press(going, pilot, "backspace")
        for key in ("enter", *"slip", "enter"):  # what is asked where a verdict or a signature rests on it
            if app.screen is not page:
                await press(going, pilot, key)
        await _until(partial(_turned, page, line), 5.0)
        now = page.lines.get(line.id)
        if now is None or now.state == was:
            raise Broken(f"the line {line.words!r} is {was} still")
        going.mended += 1


def _turned(page: PageScreen, line: Line) -> bool:
    now = page.lines.get(line.id)
    return now is None or now.state != line.state


def _to_turn(line: Line) -> bool:
    if line.state == "left-out":
        if not line.may_be_taken_back:
            raise Broken(f"{line.words!r} was left out and cannot be taken up again")
        return True
    if line.kind == "clip-kept" and line.state == "taken-back":
        if not line.may_come_back:
            raise Broken(f"{line.words!r} was taken back and cannot come back")
        return True
    return False
