"""Run as a program: forks writers that acknowledge each event on a pipe, and kills them at seeded moments.

A moment is so many acknowledgements and a little time after them, so that also a busy machine gets to write enough.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from listen.jobs import events as ev
from listen.jobs.folder.store import create_job, open_job
from tests.jobs.made import leave_part
from tests.jobs.short import begin_round


def write_until_killed(folder: Path, acknowledge: int) -> None:
    """Notes and clips without end; a line on the pipe after each that is on disk."""
    opened = open_job(folder)
    round_id = opened.job.rounds[0].id
    for n in range(1_000_000):
        if n % 5 == 4:
            part = opened.new_part(round_id, "intake", "air", "air")
            leave_part(part.path, seconds=0.05)
            opened.keep(part)
            said = f"clip {part.clip}\n"
        else:
            opened.append(ev.NoteAdded(text=f"note {n} " + "x" * (n % 300)))
            said = f"note {n}\n"
        os.write(acknowledge, said.encode())


def one_trial(folder: Path, count: int, delay_s: float) -> list[str]:
    """Acknowledged events of one writer, killed ``delay_s`` after its ``count``-th acknowledgement."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(read_end)
        try:
            write_until_killed(folder, write_end)
        finally:
            os._exit(3)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        first = [pipe.readline() for _ in range(count)]
        time.sleep(delay_s)
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        return [line.decode().strip() for line in (*first, *pipe.readlines()) if line.endswith(b"\n")]


def main(root: str, trials: str, seed: str) -> None:
    """Print one JSON object a trial: folder and what was acknowledged."""
    rng = random.Random(int(seed))
    for _ in range(int(trials)):
        with create_job(Path(root), title="killed") as opened:
            begin_round(opened, 1)
        acknowledged = one_trial(opened.folder, rng.randint(1, 20), rng.uniform(0, 0.02))
        print(json.dumps({"folder": str(opened.folder), "acknowledged": acknowledged}), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
