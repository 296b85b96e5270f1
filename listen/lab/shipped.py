"""Where the shipped recordings lie, a copy of the demo job to work on, and what its microphone hears."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from listen.errors import JobError, refusal

if TYPE_CHECKING:
    from listen.lab.simulator.scene import RoundSpec


DEMO = "demo"
DRILLS = "drills"
MAIN_ROUND = "c5-5a1d3e"
LEFT_ROUND = "c3-8e61b2"
"""Its round on cylinder 3 that was begun again and left after the loss was read: to be gone on with."""


def recordings_dir() -> Path:
    """Folder of the shipped recordings: inside the installed package, or beside it in a checkout.

    Raises JobError: they are missing from this installation."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "recordings", package.parent / "recordings"):
        if (folder / DEMO).is_dir():
            return folder
    raise JobError(f"{package}: the shipped recordings are missing; install hissway again")


@cache
def demo_scenes() -> dict[int, RoundSpec]:
    """Each cylinder of the demo engine as a round of today hears it; drawn by ``tests/demo/scenes.py``.

    Raises JobError: the recordings are missing."""
    import msgspec

    from listen.lab.simulator.scene import RoundSpec

    return msgspec.json.decode((recordings_dir() / DEMO / "scenes.json").read_bytes(), type=dict[int, RoundSpec])


def demo_job(to: Path) -> Path:
    """Copy the demo job into ``to`` (a folder of jobs) and return its folder; an older copy there is kept and used.

    Raises JobError: the recordings are missing, or ``to`` cannot be written."""
    source = recordings_dir() / DEMO / "job"
    target = to / "demo"
    if target.exists():
        return target
    passing = to / ".demo.tmp"
    with refusal(JobError, f"{to}: the demo job cannot be copied there", "choose --jobs"):
        shutil.rmtree(passing, ignore_errors=True)
        _copy(source, passing)
        (passing / "parts").mkdir()
        passing.replace(target)
    return target


def _copy(source: Path, target: Path) -> None:
    """Copy contents only: an installation may be read-only, the copy must not be."""
    target.mkdir(parents=True)
    for entry in source.iterdir():
        if entry.is_dir():
            _copy(entry, target / entry.name)
        elif entry.name != "job.json":  # derived, and of another day where someone opened the job in a checkout
            shutil.copyfile(entry, target / entry.name)
