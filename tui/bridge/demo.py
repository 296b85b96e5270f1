"""The demo's outside world: a copy of the demo job, and a microphone that hears the simulated engine."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from listen.jobs.job import Job
from listen.lab.shipped import LEFT_ROUND, demo_job, demo_scenes
from listen.temporary_folder import temporary_folder
from tui.bridge.services import Input, Services

if TYPE_CHECKING:
    from listen.audio.microphone import SoundInput
    from listen.lab.simulator.scene import RoundSpec

MICROPHONE = "simulated microphone"
WELCOME = "This engine is simulated: nothing can break."
TO_DO = "Cylinder 3 is to be tested again: go down to it and press r. Then Space does the next step, always."


class DemoServices(Services):
    """Everything in a folder that goes when the program is left, unless the user names one to keep."""

    def __init__(self, jobs: Path | None = None) -> None:
        self._room = ExitStack()
        self._passing = None if jobs else self._room.enter_context(temporary_folder("hissway-demo-"))
        super().__init__(jobs or self._passing, "simulated demo" if self._passing is None else "simulated, not kept")

    def prepare(self) -> Path:
        root = self.jobs_root()
        root.mkdir(parents=True, exist_ok=True)
        return demo_job(root)

    def preferences_path(self) -> Path:
        return super().preferences_path() if self._passing is None else self._passing / ".screens.json"

    def lab_root(self) -> Path:
        """A lab of its own, beside the demo's jobs."""
        return self.jobs_root().parent / "lab" if self._passing is None else self._passing / ".lab"

    def shop_key(self) -> None:
        """The shop stands for no simulated engine."""

    def source(self, cylinder: int | None = None, name: str | None = None, *, every: bool = False) -> SoundInput:
        from listen.lab.simulator.simulated_microphone import SimulatedMicrophone

        return SimulatedMicrophone(self._scene(cylinder or 1), channels=8 if every else 1)

    def _scene(self, cylinder: int) -> RoundSpec:
        scenes = list(demo_scenes().values())
        return demo_scenes().get(cylinder, scenes[cylinder % len(scenes)])

    def inputs(self) -> tuple[Input, ...]:
        return (Input(MICROPHONE, "48 kHz, simulated", True),)

    def welcome(self, job: Job) -> str:
        """Where to begin, until that is done."""
        to_do = any(r.id == LEFT_ROUND and r.verdict is None for r in job.rounds)
        return f"{WELCOME} {TO_DO}" if to_do else WELCOME

    def gauge(self, cylinder: int) -> str:
        loss = self._scene(cylinder).facts.loss_percent
        return "" if loss is None else f"The simulated tester reads {loss:.0f} %: type that."

    def close(self) -> None:
        super().close()
        self._room.close()
