"""Run in a subprocess: takes a round on the real screens with a real PortAudio input and the real analyst.

Walked, it prints ``["due", point, kind]`` before every clip and waits for a line, so that the test can turn the air on
and off. With the air switched, at one point or all at once, it prints ``["recording", time]`` as a take begins,
``["told", sentence, time]`` as soon as a channel is told to fail, and ``["outcome", points, sentence, time]``; what was
cut short it keeps. Times are of the monotonic clock, which all processes share. At the end it prints the verdict and
what was kept.
"""

from __future__ import annotations

import asyncio
import json
import sys
import time
from pathlib import Path

import msgspec
from bay import FOUR_POINTS, read_cautions, settle, to_engine, type_text, until

from listen import switched_take
from listen.jobs.events import WayChosen
from listen.jobs.folder.store import create_job
from tui.app import HisswayApp
from tui.bridge.preferences import Preferences
from tui.bridge.services import Services
from tui.screens.cautions import CautionScreen
from tui.screens.dialog import PickScreen
from tui.screens.round.screen import RoundScreen
from tui.widgets.large import Countdown


class BenchServices(Services):
    """The real outside world; only preferences stay in the test's folder."""

    def preferences_path(self) -> Path:
        """Beside the jobs."""
        assert self.jobs is not None
        return self.jobs / "screens.json"


ANSWERS = {"call": "d", "bubbles": "n", "followed": "y"}


def tell(*words: object) -> None:
    print(json.dumps(words), flush=True)


async def clip(pilot, screen: RoundScreen) -> None:
    step = screen.step()
    tell("due", step.point, step.clip_kind)
    await asyncio.to_thread(sys.stdin.readline)
    await pilot.press("space")
    await until(pilot, lambda: not screen.now.busy and not screen.now.checking and screen.now.outcome is not None, 60)
    assert screen.now.outcome is not None
    tell("outcome", screen.now.outcome.kept, screen.now.outcome.sentence)


async def switched(pilot, screen: RoundScreen) -> None:
    """One take, its cautions read before the first."""
    await until(pilot, lambda: screen.listener.reading is not None, 20)
    screen.change(outcome=None)
    await pilot.press("space")
    while not screen.now.busy:
        await settle(pilot)
        if isinstance(pilot.app.screen, CautionScreen):
            await pilot.press("space")
    await until(pilot, lambda: screen.now.mark is not None or not screen.now.busy, 20)
    tell("recording", time.monotonic())
    countdown = screen.query_one(Countdown)
    said = ""
    while screen.now.busy:
        if countdown.count is not None and countdown.count.more.startswith("!") and countdown.count.more != said:
            said = countdown.count.more
            tell("told", said, time.monotonic())
        await pilot.pause(0.02)
    over = time.monotonic()
    await until(pilot, lambda: not screen.now.checking and screen.now.outcome is not None, 60)
    assert screen.now.outcome is not None
    sentence = screen.now.outcome.sentence
    if screen.now.outcome.lost:
        await until(pilot, lambda: isinstance(pilot.app.screen, PickScreen))
        await pilot.press("k")
        await until(pilot, lambda: pilot.app.screen is screen and bool(screen.record.live_clips()))
    tell("outcome", sorted(c.kept.point for c in screen.record.live_clips()), sentence, over)


async def main(root: Path, way: str) -> None:
    with create_job(root, title="Real", engine=FOUR_POINTS) as opened:
        opened.append(WayChosen(way=way))
    switched_take.CYCLES, switched_take.PERIOD_S = 3, 2.4
    name = "vmic4" if way == "all-at-once" else "vmic"
    app = HisswayApp(services=BenchServices(root))
    app.preferences = Preferences(before_s=0.1, clip_s=2.0, move_s=0.0, input_name=name)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await pilot.press("r")
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        screen = app.screen
        assert isinstance(screen, RoundScreen)
        await until(pilot, lambda: screen.listener.reading is not None, 20)
        await read_cautions(pilot, screen)
        await type_text(pilot, "550")
        await type_text(pilot, "1.0")
        await type_text(pilot, "38")
        await until(pilot, lambda: screen.step().kind == "clip")
        while (step := screen.step()).kind != "done":
            if step.kind == "clip" and way != "walks":
                channels = {screen.listener.name: ("intake", "tailpipe", "oil-filler", "radiator")}
                app.preferences = msgspec.structs.replace(app.preferences, channels=channels)
                await switched(pilot, screen)
            elif step.kind == "clip":
                await clip(pilot, screen)
            elif step.kind in ANSWERS:
                await pilot.press(ANSWERS[step.kind])
                await until(pilot, lambda was=step.kind: screen.step().kind != was)
            else:
                await until(pilot, lambda: screen.step().kind == "done" or bool(screen.now.outcome), 60)
        assert screen.record.verdict is not None
        result = screen.record.verdict.result
        tell("verdict", result.verdict.kind, list(result.verdict.paths), len(screen.record.live_clips()))


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), sys.argv[2]))
