"""Power lost at any point of a working session: replays a log of its writes with what was not synced left to chance."""

from __future__ import annotations

import random
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.unpack import unpack
from listen.jobs.folder.store import create_job, open_job
from tests.crash.check import Promised, broken_promises
from tests.crash.power_log import Op, PowerLog
from tests.crash.power_replay import after_power_loss
from tests.crash.session import work
from tests.jobs.short import begin_round

STEPS = 9
"""Steps of the session: six notes, three takes."""
TAKE_S = 1.2
"""Long enough for the recorder to sync twice on the way."""
HEADER_BYTES = 512
"""Of a take's file, before its samples."""
JOBS = "jobs"


class PowerLost(NamedTuple):
    """What the replays came to."""

    replays: int
    operations: int
    """Length of the logs."""
    broken: tuple[str, ...]


def lose_power(root: Path, replays: int, seed: int) -> PowerLost:
    """Log a session and a job taken in from elsewhere, then lose power at ``replays`` points and check all promises."""
    root.mkdir(parents=True, exist_ok=True)
    logs = (logged_session(root / "session"), logged_unpacking(root / "unpacking"))
    broken = replay(logs, root, replays, seed)
    return PowerLost(replays, sum(map(len, logs)), tuple(broken))


def replay(logs: Sequence[list[Op]], root: Path, replays: int, seed: int) -> list[str]:
    """Promises that do not hold in ``replays`` states of the disk, in words."""
    rng = random.Random(seed)
    broken: list[str] = []
    for n in range(replays):
        ops = logs[n % len(logs)]
        at = rng.randrange(1, len(ops) + 1)
        state = root / f"state-{n}"
        state.mkdir()
        after_power_loss(ops[:at], rng, state)
        broken += [f"power lost after operation {at}, replay {n}: {b}" for b in _check(ops[:at], state)]
        shutil.rmtree(state)
    return broken


def logged_session(folder: Path) -> list[Op]:
    """What one session asked of the disk, with its promises."""
    folder.mkdir(parents=True)
    log = PowerLog(folder)
    with log.watching(), create_job(folder / JOBS, title="power") as opened:
        begin_round(opened, 1)
        log.promise(f"job {opened.folder.relative_to(log.root)}")
        work(opened, log.promise, iter(range(STEPS)), seconds=TAKE_S, wait_s=0.0)
    return log.ops


def logged_unpacking(folder: Path) -> list[Op]:
    """What taking in a job from another machine asked of the disk, and taking it in again after more work there."""
    (folder / "here").mkdir(parents=True)
    log = PowerLog(folder / "here")
    with create_job(folder / "other", title="power") as opened:
        begin_round(opened, 1)
    for day in (0, 1):
        said: list[str] = []
        with open_job(opened.folder) as again:
            work(again, said.append, iter(range(day * STEPS, (day + 1) * STEPS)), seconds=0.1, wait_s=0.0)
        pack(opened.folder, folder / f"job-{day}.zip")
        with log.watching():
            new = unpack(folder / f"job-{day}.zip", folder / "here" / JOBS).folder
        log.promise(f"job {new.resolve().relative_to(log.root)}")
        for line in said:
            log.promise(line)
    return log.ops


def _check(ops: list[Op], state: Path) -> list[str]:
    promised = Promised()
    for op in ops:
        if op.what == "promise" and not op.args[0].startswith("sound "):
            promised.take(op.args[0])
    promised.sound = synced_sound(ops)
    if promised.job is None:
        return []  # nothing had been promised yet
    folder = state / promised.job
    return broken_promises(promised, folder)


def synced_sound(ops: list[Op]) -> dict[str, int]:
    """Samples of each unfinished take that were on the disk for sure, by clip identifier."""
    names = {op.args[2]: op.args[1] for op in ops if op.what == "link" and op.args[1].endswith(".part")}
    gone = {op.args[1] for op in ops if op.what == "unlink"}
    size: dict[int, int] = {}
    synced: dict[str, int] = {}
    for op in ops:
        if op.what == "write" and op.args[0] in names:
            size[op.args[0]] = max(size.get(op.args[0], 0), op.args[1] + len(op.args[2]))
        elif op.what == "sync" and op.args[0] in names and names[op.args[0]] not in gone:
            clip = names[op.args[0]].partition(".")[0]
            synced[clip] = max(0, size.get(op.args[0], 0) - HEADER_BYTES) // 4
    return synced
