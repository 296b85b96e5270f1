"""A Hissway on a fake bench: an app with one job, and small helpers for pilots."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from pathlib import Path

import msgspec
from fakes import QUICK, FakeAnalyst, FakeServices, FakeSource
from textual import events
from textual._wait import wait_for_idle
from textual.keys import _character_to_key
from textual.pilot import Pilot

from listen.jobs.events import CautionAcknowledged, JobNamed, ReadingEntered, WayChosen
from listen.jobs.folder.open_job import new_round
from listen.jobs.folder.store import create_job
from listen.trade.engine import Engine, layout
from tui.app import HisswayApp
from tui.bridge.preferences import Preferences, save
from tui.screens.round.screen import RoundScreen
from tui.widgets import panels

panels.SEEN_S = 0.0
"""Pilots read nothing: only the test of a burst waits for a page to be seen."""
FOUR_POINTS = msgspec.structs.replace(layout("single"), cooling="liquid")
"""Intake, tailpipe, oil filler, radiator; no neighbour."""


def bench(
    tmp_path: Path,
    *,
    engine: Engine = FOUR_POINTS,
    source: FakeSource | None = None,
    analyst: FakeAnalyst | None = None,
    title: str = "Green tractor",
    preferences: Preferences = QUICK,
    way: str = "walks",
) -> HisswayApp:
    """An app whose one job waits on disk; ``way`` of taking its rounds, empty where it is yet to be asked."""
    with create_job(tmp_path / "jobs", title="t", engine=engine) as opened:
        opened.append(JobNamed(title=title), *([WayChosen(way=way)] if way else []))
    services = FakeServices(tmp_path, source, analyst)
    save(services.preferences_path(), preferences)
    return HisswayApp(services=services)


POLL_S = 0.001


async def until(pilot: Pilot, true: Callable[[], bool], seconds: float = 60.0) -> None:
    """Wait for something to become true; the limit is far off, so that a busy machine fails no test."""
    await _come_true(true, seconds)
    await pilot.pause()


async def _come_true(true: Callable[[], bool], seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        await asyncio.sleep(POLL_S)
        if true():
            return
    raise AssertionError(f"never came true: {true}")


async def to_engine(pilot: Pilot) -> None:
    """Open the job."""
    await _past_the_list(pilot)
    await pilot.pause()


async def _past_the_list(pilot: Pilot) -> None:
    """What is only passed on the way to where a test begins is not drawn: other tests are about it."""
    await _come_true(lambda: bool(pilot.app.screen.query("#jobs")) and pilot.app.screen.query_one("#jobs").display)
    await wait_for_idle(0)
    await pilot.press("enter")
    await _come_true(lambda: pilot.app.job is not None and bool(pilot.app.screen.query("EngineView")))
    await wait_for_idle(0)


def read_all(app: HisswayApp) -> None:
    """The cautions before figures of the engine were read and acknowledged."""
    for name in ("plugs-out+cranking", "wet-test"):
        app.write(CautionAcknowledged(caution=name))


async def to_round(pilot: Pilot) -> RoundScreen:
    """Open the job's round on its first cylinder."""
    await _past_the_list(pilot)
    return await _on_with_the_round(pilot)


async def _on_with_the_round(pilot: Pilot) -> RoundScreen:
    await pilot.press("r")
    await _come_true(lambda: any(isinstance(s, RoundScreen) for s in pilot.app.screen_stack))
    screen = next(s for s in pilot.app.screen_stack if isinstance(s, RoundScreen))  # a take left over is asked about
    await until(pilot, lambda: screen.listener.reading is not None)
    return screen


async def type_text(pilot: Pilot, text: str) -> None:
    """Type in one burst, as a fast hand or a scanner does, and hand in."""
    for character in text:
        pilot.app.post_message(events.Key(_character_to_key(character), character))
    await pilot.press("enter")


async def read_cautions(pilot: Pilot, screen: RoundScreen, key: str = "space") -> int:
    """Turn the pages until all was shown and acknowledged; how many keys that took."""
    keys = 0
    while screen.step().kind == "caution":
        await settle(pilot)
        keys += 1
        await pilot.press(key)
    await until(pilot, lambda: screen.step().id == "supply")
    return keys


async def to_quiet_walk(pilot: Pilot) -> RoundScreen:
    """Past the cautions and the readings, which were given before; by keys: :func:`by_keys_to_quiet_walk`."""
    await _past_the_list(pilot)
    app = pilot.app
    assert isinstance(app, HisswayApp)
    begun = new_round(1)
    app.write(begun, CautionAcknowledged(caution="set-up", round_id=begun.round_id))
    for reading, value, unit in (("supply", 550, "kPa"), ("restrictor", 1, "mm"), ("loss", 27, "percent")):
        on = 1 if reading == "loss" else None
        app.write(
            ReadingEntered(reading=reading, value=value, unit=unit, si=value, cylinder=on, round_id=begun.round_id)
        )
    screen = await _on_with_the_round(pilot)
    assert screen.round_id == begun.round_id and screen.step().kind == "clip"
    return screen


async def by_keys_to_quiet_walk(pilot: Pilot) -> RoundScreen:
    """The same, as a tech gets there."""
    screen = await to_round(pilot)
    await read_cautions(pilot, screen)
    await type_text(pilot, "550")
    await type_text(pilot, "1.0")
    await until(pilot, lambda: screen.step().id == "loss")
    await type_text(pilot, "27")
    await until(pilot, lambda: screen.step().kind == "clip")
    return screen


def settled(screen: RoundScreen) -> bool:
    """Whether the last clip has come to its end, check and all."""
    now = screen.now
    return not now.busy and not now.checking and now.outcome is not None


async def clip(pilot: Pilot, screen: RoundScreen, key: str = "space") -> None:
    """One key press, then wait until the clip has come to its end."""
    await pilot.press(key)
    await until(pilot, lambda: settled(screen))


async def walk(pilot: Pilot, screen: RoundScreen) -> None:
    """Record until the walk is over."""
    name = screen.step().walk
    while screen.step().kind == "clip" and screen.step().walk == name:
        await clip(pilot, screen)


def banner(screen: RoundScreen) -> str:
    """All that the banner says."""
    say = screen.query_one("Banner").say
    return " | ".join((say.where, say.step, say.more, say.outcome))


async def settle(pilot: Pilot) -> None:
    """Let drawn things be drawn."""
    await pilot.pause()
    await asyncio.sleep(0.02)
    await pilot.pause()


def screen_text(app: HisswayApp) -> str:
    """Everything on the screen as text."""
    lines = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip) for strip in lines)


def words(app: HisswayApp) -> str:
    """The same as one line: where a sentence breaks does not matter, in a frame neither."""
    return " ".join(screen_text(app).replace("│", " ").split())


def said(app: HisswayApp, selector: str) -> str:
    """What one text widget says."""
    return str(app.screen.query_one(selector).content)
