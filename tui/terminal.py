"""The terminal itself: Textual gets a descriptor of its own, so that what C libraries print on fd 2 cannot spoil it."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from listen.errors import HisswayError

CLOSED_IN_CHILDREN: int = getattr(os, "O_CLOEXEC", 0)
"""POSIX only; Windows hands no descriptor on unless asked."""


class NoTerminal(HisswayError):
    """The screens were asked for where there is no terminal."""


MOST_BYTES = 1_000_000
"""A longer log is put aside, in place of the one put aside before: what a fault wrote outlives many starts."""


def log_path() -> Path:
    """File that takes what libraries print on standard error while the screens are open."""
    from platformdirs import user_log_path

    return user_log_path("hissway", appauthor=False) / "screens.log"


def _open_log() -> int:
    try:
        path = log_path()
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.exists() and path.stat().st_size > MOST_BYTES:
            path.replace(path.with_suffix(".log.before"))
        return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | CLOSED_IN_CHILDREN, 0o600)
    except OSError:  # a read-only home must not keep the screens shut
        return os.open(os.devnull, os.O_WRONLY | CLOSED_IN_CHILDREN)


@contextmanager
def own_screen() -> Iterator[None]:
    """Give Textual a copy of fd 2 and point fd 2 at a log until the block ends."""
    sys.stderr.flush()
    kept, screen, log = sys.__stderr__, os.dup(2), _open_log()
    # The shell's own, to be given back at the end.
    before = os.dup(2)
    # By descriptor: C libraries write to number 2, whatever Python calls its standard error.
    os.dup2(log, 2)
    os.close(log)
    sys.__stderr__ = os.fdopen(screen, "w", encoding="utf-8", errors="replace")  # type: ignore[misc]
    try:
        yield
    finally:
        sys.__stderr__.flush()
        os.dup2(before, 2)
        os.close(before)
        sys.__stderr__ = kept  # type: ignore[misc]


def run_app(*, jobs: str | None = None, demo: bool = False) -> int:
    """Run the application to its end; returns an exit code."""
    if not (sys.stdin and sys.stdin.isatty() and os.isatty(2)):
        raise NoTerminal("no terminal here to draw on; run hissway in a terminal, or use a command from hissway --help")
    from listen.jobs.folder.store import jobs_root
    from listen.lab.learners import lab_root

    where = jobs_root(jobs) if jobs or not demo else None
    lab_root()  # a folder that cannot be is told here, not on a screen
    # Only now: where a folder is wrong nobody waits for the screens to load.
    from tui.app import FAULT, HisswayApp

    if demo:
        from listen.durable import job_errors, make_folders
        from tui.bridge.demo import DemoServices

        if where is not None:
            with job_errors("keep the demo's jobs", where):
                make_folders(where)
        app = HisswayApp(services=DemoServices(where))
    else:
        app = HisswayApp(where)
    with own_screen():
        app.run()
    if app.fault:
        raise HisswayError(FAULT.format(app.fault, log_path()))
    return app.return_code or 0
