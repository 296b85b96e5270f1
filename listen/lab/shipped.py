"""Where the shipped recordings lie, and a copy of the demo job to work on."""

import shutil
from pathlib import Path

from listen.errors import JobError, refusal

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
