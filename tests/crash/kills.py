"""Writers killed at random moments (SIGKILL), again and again on the same job, as a failing laptop would."""

from __future__ import annotations

import os
import random
import signal
import time
from itertools import count
from pathlib import Path
from typing import NamedTuple

from listen.errors import UsageError
from listen.jobs.folder.store import create_job, open_job
from tests.crash.check import Promised, broken_promises
from tests.crash.session import work
from tests.jobs.short import begin_round

KILLS_A_JOB = 20
"""Then a new job is begun, so that opening stays quick."""
LATEST_S = 0.12
"""A kill comes up to so long after the first acknowledgement: some four takes and eight notes."""
TAKE_S, WAIT_S = 0.1, 0.0005
"""Sound in a take, and the pause after each of its ten blocks."""


class Killed(NamedTuple):
    """What the kills came to."""

    kills: int
    acknowledged: int
    in_a_take: int
    """Kills that struck while a take was being recorded."""
    broken: tuple[str, ...]


def kill_writers(root: Path, kills: int, seed: int) -> Killed:
    """Kill ``kills`` writers under ``root`` and check every promise after each.

    Raises
    ------
    UsageError
        The system has no fork.
    """
    if not hasattr(os, "fork"):
        raise UsageError("this system cannot fork writers to kill; run it on Linux or macOS")
    rng = random.Random(seed)
    broken: list[str] = []
    acknowledged = in_a_take = 0
    promised = Promised()
    for n in range(kills):
        if n % KILLS_A_JOB == 0:
            promised = _new_job(root, n)
        assert promised.job is not None
        promised.sound = {}
        said = _one_kill(promised.job, rng.uniform(0.0, LATEST_S), n)
        for line in said:
            promised.take(line)
        acknowledged += len(said)
        in_a_take += bool(said) and said[-1].startswith("sound")
        broken += [f"kill {n}: {b}" for b in broken_promises(promised, promised.job)]
    return Killed(kills, acknowledged, in_a_take, tuple(broken))


def _new_job(root: Path, n: int) -> Promised:
    with create_job(root, title=f"killed {n}") as opened:
        begin_round(opened, 1)
    return Promised(job=opened.folder)


def _one_kill(folder: Path, delay_s: float, n: int) -> list[str]:
    """What one writer acknowledged before it was killed ``delay_s`` after its first word."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        _write_until_killed(folder, read_end, write_end, n)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        first = pipe.readline()
        time.sleep(delay_s)
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        return [line.decode().rstrip("\n") for line in (first, *pipe.readlines()) if line.endswith(b"\n")]


def _write_until_killed(folder: Path, read_end: int, write_end: int, n: int) -> None:
    """The child: works on the job without end; never returns."""
    try:
        os.close(read_end)
        opened = open_job(folder)
        work(
            opened,
            lambda line: _say(write_end, line),
            count(n * 1_000_000),
            seconds=TAKE_S,
            wait_s=WAIT_S,
        )
    finally:
        os._exit(3)


def _say(write_end: int, line: str) -> None:
    os.write(write_end, line.encode() + b"\n")
