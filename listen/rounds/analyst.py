"""The process that checks clips and judges rounds, so that the recording process is never kept from its callbacks."""

from __future__ import annotations

import os
import threading
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context, parent_process
from pathlib import Path
from pkgutil import resolve_name
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from listen.judge.result import RoundResult
    from listen.rounds.check import ClipCheck, Spans
    from listen.rounds.model import Round

NICENESS = 5
"""The analyst gives way to the recorder where both want a core."""


def _end_with_parent() -> None:
    """A parent that is killed closes nothing: without this its analyst would wait for work for ever."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        # Not sys.exit, which would only end this thread; nothing here has anything to put away.
        os._exit(0)


def _settle_in() -> None:
    """In the new process: end with its parent, give way, and load what the first clip will need."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    # Windows has none.
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    import listen.rounds.check
    import listen.rounds.evaluate  # noqa: F401


def _do(work: str, *about: object) -> Any:
    """Work goes over by its name: the process that asks for it loads none of it."""
    return resolve_name(work)(*about)


class Analyst:
    """One spawned process with a queue of work. Errors of the work come out of the future as they were raised."""

    def __init__(self) -> None:
        # Before the process starts, which reads it once: with more threads the last digits would not be those of other
        # commands.
        os.environ.setdefault("OMP_NUM_THREADS", "1")
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        # Spawned, not forked: the microphone's threads and handles must not be copied into it.
        self._pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_settle_in)
        # Starts the process at once: the first clip would else wait for all that is loaded there.
        self._pool.submit(int)

    def check(self, path: Path, at: str, quiet: Path | None = None, on_s: Spans = ()) -> Future[ClipCheck]:
        """Look a clip of a point over, against a quiet clip of its point or, of a switched take, half against half."""
        return self._pool.submit(_do, "listen.rounds.check:check_take", path, at, quiet, on_s)

    def evaluate(self, round_: Round) -> Future[RoundResult]:
        return self._pool.submit(_do, "listen.rounds.evaluate:evaluate", round_)

    def close(self) -> None:
        """Drop what is queued and let the process end; never waits for work under way."""
        processes = list((self._pool._processes or {}).values())  # shutdown forgets them
        self._pool.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()
