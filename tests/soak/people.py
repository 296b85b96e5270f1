"""Run as a program: one person at one machine, working on the shared folder through the program's own screens.

``python -m tests.soak.people ROLE NAME JOBS HOME SECONDS SEED``, where ROLE is ``bay`` or ``supervisor``. Says on
stdout, one line of JSON each, what that person may now rely on, what went wrong, and after each turn how large the
program is.
"""

from __future__ import annotations

import asyncio
import json
import random
import sys
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

sys.path.insert(0, str(Path(__file__).parents[1] / "tui"))  # the pilots' helpers

from bay import read_cautions, type_text, until, words
from fakes import QUICK, FakePlayer
from textual.widgets import Input, OptionList, Select

from listen.jobs.folder.witnesses import JobSummary
from listen.trade.engine import layout_row
from tests.soak.size import size
from tui.app import HisswayApp
from tui.bridge.playback import Tones
from tui.bridge.preferences import save
from tui.bridge.services import Services
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.dialog import OneLineScreen
from tui.screens.engine.screen import EngineScreen
from tui.screens.jobs.screen import JobsScreen
from tui.screens.new_job.screen import NewJobScreen
from tui.screens.round.screen import RoundScreen

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from listen.audio.microphone import SoundInput
    from tui.bridge.preferences import Preferences

PATIENCE_S = 120.0
"""A step that takes longer has hung; three programs and two analysts share what there is of the machine."""
STEPS = 80
"""More than the steps of a round, those that are asked for again included."""
HEARD_S = 0.5
"""Loop that the meter hears between takes: nobody looks at it here, and three seconds of it take one to make."""
IDLE_S = 1.0
"""Between two looks at a list that holds nothing to do."""
TO_DECIDE = ("to-confirm", "cannot-tell")


class SoakServices(Services):
    """The real analyst and the real folder; a simulated microphone that does not wait, and a silent loudspeaker."""

    def __init__(self, jobs: Path, home: Path) -> None:
        super().__init__(jobs)
        self._home = home
        self._silent = FakePlayer()
        self.cylinder = 1

    def preferences_path(self) -> Path:
        return self._home / "screens.json"

    def lab_root(self) -> Path:
        return self._home / "lab"

    def shop_key(self) -> None:
        return None

    def source(self, cylinder: int | None = None, name: str | None = None, *, every: bool = False) -> SoundInput:
        from listen.lab.simulator import simulated_microphone
        from tests.demo.scenes import demo_scene

        simulated_microphone.IDLE_S = HEARD_S
        return simulated_microphone.SimulatedMicrophone(demo_scene(self.cylinder), pace=0, channels=8 if every else 1)

    def player(self) -> Any:
        self._silent.played.clear()
        return self._silent

    def tones(self, preferences: Preferences) -> Tones:
        return Tones(None)


class Person:
    """What both do: the list of jobs, finding one, going back."""

    def __init__(self, pilot: Pilot, name: str, rng: random.Random, seconds: float) -> None:
        self.pilot, self.name, self.rng = pilot, name, rng
        self._end = time.monotonic() + seconds
        self.warm = False
        """Whether all that this person does was done once: until then it loads what judges, plays and signs."""
        self.app: HisswayApp = pilot.app  # type: ignore[assignment]

    @property
    def over(self) -> bool:
        """Whether the day is."""
        return time.monotonic() > self._end

    async def until(self, true: Callable[[], bool]) -> None:
        try:
            await until(self.pilot, true, PATIENCE_S)
        except AssertionError as hung:
            raise AssertionError(f"{hung}; the screen: {words(self.app)}") from None

    async def listed(self) -> list[JobSummary]:
        """The list as it is on the screen, read anew."""
        screen = self.app.screen
        assert isinstance(screen, JobsScreen)
        screen.load()
        await screen.workers.wait_for_complete([w for w in screen.workers if w.node is screen])
        return list(screen._all)

    async def find(self, title: str) -> None:
        """Open the job of that title by typing it into the find line."""
        await self.pilot.press("slash")
        self.app.screen.query_one("#find", Input).value = title
        table = self.app.screen.query_one("#jobs", OptionList)
        await self.until(lambda: table.option_count == 1)
        await self.pilot.press("enter", "enter")
        await self.until(lambda: isinstance(self.app.screen, EngineScreen) and self.app.job is not None)

    async def back_to_the_list(self) -> None:
        while not isinstance(self.app.screen, JobsScreen):
            before = self.app.screen
            await self.pilot.press("escape")
            await self.until(lambda before=before: self.app.screen is not before)
        await self.pilot.press("escape")
        await self.until(lambda: self.app.open_job is None)

    def folder(self) -> str:
        assert self.app.open_job is not None
        return self.app.open_job.folder.name


class Bay(Person):
    """Takes jobs in, walks rounds, answers what a supervisor asks for."""

    jobs = kept = 0

    @property
    def over(self) -> bool:
        """A day without one clip is none."""
        return super().over and self.kept > 0

    async def turn(self) -> None:
        """What waits for this bay, else a new job."""
        mine = [s for s in await self.listed() if s.title.startswith(self.name + " ") and not s.trouble]
        asked = [s for s in mine if s.state in ("sent-back", "recording")]
        if asked and self.rng.random() < 0.7:
            await self.find(self.rng.choice(asked).title)
        else:
            await self.take_in()
        say(job=self.folder())
        if self.app.open_job is not None and not self.app.open_job.writable:
            say(locked=self.folder())
        else:
            await self.round()
        await self.back_to_the_list()

    async def take_in(self) -> None:
        self.jobs += 1
        self.app.services.cylinder = self.rng.choice((2, 3, 5))  # type: ignore[attr-defined]
        await self.pilot.press("n")
        await self.until(lambda: isinstance(self.app.screen, NewJobScreen))
        self.app.screen.query_one("#title", Input).value = f"{self.name} job {self.jobs:04d}"
        numbering = self.app.screen.query_one("#numbering", Select)
        numbering.value = layout_row("inline-4").numbering[0].id
        await self.pilot.press("ctrl+s")
        await self.until(lambda: isinstance(self.app.screen, EngineScreen) and self.app.job is not None)

    async def round(self) -> None:
        """One key after the other until the round rests; some days the tech is called away after a few steps."""
        await self.pilot.press("r")
        await self.until(lambda: isinstance(self.app.screen, RoundScreen))
        screen = self.app.screen
        assert isinstance(screen, RoundScreen)
        await self.until(lambda: screen.listener.reading is not None)
        for _ in range(STEPS if self.rng.random() < 0.8 else self.rng.randrange(STEPS)):
            if self.over:
                return
            if screen.step().kind == "done":
                say(judged=screen.round_id, job=self.folder())
                self.warm = True
                return
            await self.step(screen)

    async def step(self, screen: RoundScreen) -> None:
        step = screen.step()
        typed = {"supply": ("550", "1.0"), "loss": ("27",)}
        answers = {"call": "1", "bubbles": "n", "followed": "l"}
        if step.kind == "caution":
            await read_cautions(self.pilot, screen)
        elif step.kind in typed:
            for text in typed[step.kind]:
                await type_text(self.pilot, text)
        elif step.kind == "way":
            await self.pilot.press("2")
        elif step.kind == "clip":
            await self.clip(screen)
            return
        elif step.kind == "verdict":
            await self.until(lambda: screen.record.verdict is not None and not screen.now.judging)
            return
        else:
            await self.pilot.press(answers[step.kind])
        await self.until(lambda: screen.step().id != step.id)

    async def clip(self, screen: RoundScreen) -> None:
        before = {c.id for c in screen.record.clips}
        await self.pilot.press("space")
        now = lambda: screen.now  # noqa: E731
        await self.until(lambda: not now().busy and not now().checking and now().outcome is not None)
        new = [c.id for c in screen.record.clips if c.id not in before]
        self.kept += len(new)
        for clip in new:
            say(clip=clip, job=self.folder())
        if not new:
            raise AssertionError(f"no clip: {screen.now.outcome}")


class Supervisor(Person):
    """Opens whatever waits for a decision, hears, calls, decides and signs; meets jobs that a bay has open."""

    async def turn(self) -> None:
        """One job of the list."""
        rows = [s for s in await self.listed() if not s.trouble]
        waiting = [s for s in rows if s.state in TO_DECIDE]
        if not rows or (not waiting and self.rng.random() < 0.5):
            await asyncio.sleep(IDLE_S)
            return
        await self.find(self.rng.choice(waiting or rows[:4]).title)
        say(job=self.folder())
        if self.app.open_job is not None and not self.app.open_job.writable:
            say(locked=self.folder())
        elif self.app.job is not None and any(r.verdict and not r.signed for r in self.app.job.rounds):
            await self.decide()
        await self.back_to_the_list()

    async def decide(self) -> None:
        await self.pilot.press("c")
        await self.until(lambda: any(isinstance(s, ConfirmScreen) for s in self.app.screen_stack))
        screen = next(s for s in self.app.screen_stack if isinstance(s, ConfirmScreen))
        if screen.phase == "name":
            await type_text(self.pilot, self.name)
        await self.until(lambda: screen.phase in ("hear", "done"))
        if screen.phase == "done":
            return
        await self.pilot.press("space")
        await self.until(lambda: screen.query_one("Pairs").pairs[0].heard >= 1)
        await self.pilot.press("c")
        await self.until(lambda: screen.phase in ("call", "tech"))
        if screen.phase == "call":
            await self.pilot.press("2")
            await self.until(lambda: screen.phase == "tech")
        await self.pilot.press("n")
        await self.until(lambda: screen.phase == "decide")
        while screen.phase == "decide":
            await self.say_so(screen)
        if screen.phase != "done":
            raise AssertionError(f"neither decided nor refused: {screen.phase}; {words(self.app)}")

    async def say_so(self, screen: ConfirmScreen) -> None:
        """Send back, or agree and sign; what a bay wrote meanwhile is refused, and one is back at the numbers."""
        decisions = len(screen.record.decisions)
        if self.rng.random() < 0.3:
            await self.pilot.press("b", "1", "1")
            await self.until(lambda: isinstance(self.app.screen, OneLineScreen))
            await type_text(self.pilot, "Once more, please")
            await self.until(lambda: screen.phase == "done" or self.told_to_look_again())
        else:
            await self.pilot.press("a")
            await self.until(lambda: screen.phase == "decided" or self.told_to_look_again())
        if len(screen.record.decisions) > decisions:
            say(decided=screen.round_id, job=self.folder())
        if screen.phase == "decided":
            await self.pilot.press("s")
            await self.until(lambda: isinstance(self.app.screen, OneLineScreen))
            await type_text(self.pilot, self.name)
            await self.until(lambda: screen.phase in ("done", "decide"))
            self.warm = True
        if screen.phase == "decide":
            say(refused=screen.round_id)
            self.app.clear_notifications()

    def told_to_look_again(self) -> bool:
        """Whether the last thing said in the corner is that something came in meanwhile."""
        return any("look again" in n.message for n in self.app._notifications)


def say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


async def work(role: str, name: str, jobs: Path, home: Path, seconds: float, seed: int) -> None:
    """Turn after turn until the day is over."""
    services = SoakServices(jobs, home)
    save(services.preferences_path(), QUICK)
    app = HisswayApp(services=services)
    async with app.run_test(size=(100, 30)) as pilot:
        person = {"bay": Bay, "supervisor": Supervisor}[role](pilot, name, random.Random(f"{seed}/{name}"), seconds)
        await until(pilot, lambda: isinstance(app.screen, JobsScreen), PATIENCE_S)
        while not person.over:
            await person.turn()
            if person.warm:
                say(size=size())
    if app.fault:
        say(fault=app.fault)
    say(over=True)


def main() -> None:
    role, name, jobs, home, seconds, seed = sys.argv[1:]
    done: Awaitable[None] = work(role, name, Path(jobs), Path(home), float(seconds), int(seed))
    try:
        asyncio.run(done)  # type: ignore[arg-type]
    except BaseException as error:  # whatever it is, it is the finding
        say(fault=f"{type(error).__name__}: {error}"[:1500])
        raise


if __name__ == "__main__":
    main()
