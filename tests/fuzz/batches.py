"""Cases fed to doors by the batch, each batch in a process that may hang or die, and the table of what came of it."""

from __future__ import annotations

import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
from collections import Counter
from pathlib import Path
from typing import IO

import msgspec

from tests.fuzz.targets import TARGETS

BATCH = 500
"""Cases a process takes before a fresh one, so that a leak cannot hide and a crash costs little."""
SILENCE_S = 600.0
"""A process that says nothing for so long hangs and is killed. A case takes 8 s of the processor at most, which on a
machine with eight busy programs a core took 270 s at the lowest priority: 60 s called waiting for a turn a hang."""
CHECKOUT = Path(__file__).parents[2]
"""Where ``tests`` can be imported from."""
START_S = 600.0
"""Imports on a cold machine, as busy."""


class Fault(msgspec.Struct, frozen=True):
    """One case that went wrong; ``python -m tests fuzz --case TARGET:N --seed S`` repeats it."""

    target: str
    case: int
    what: str


class Fuzzed(msgspec.Struct, frozen=True):
    """What a run came to."""

    cases: dict[str, int]
    peak_mb: dict[str, int]
    faults: tuple[Fault, ...]


def fuzz(targets: list[str], cases: int, seed: int) -> Fuzzed:
    """Feed ``cases`` inputs, shared among ``targets``; so few that one process takes them all begin one process."""
    done: Counter[str] = Counter()
    peak: dict[str, int] = {}
    faults: list[Fault] = []
    shares = sum(TARGETS[target].share for target in targets)
    wanted = {target: max(1, round(cases * TARGETS[target].share / shares)) for target in targets}
    for doors in [targets] if sum(wanted.values()) <= BATCH else [[target] for target in targets]:
        while doors:
            runs = [(door, done[door], min(BATCH, wanted[door] - done[door])) for door in doors]
            for door, (tried, high, new) in zip(doors, _batch(seed, runs), strict=False):
                faults += new
                done[door] += tried
                peak[door] = max(peak.get(door, 0), high)
                if tried == 0:
                    wanted[door] = done[door]  # it did not even start; the fault says so
            doors = [door for door in doors if done[door] < wanted[door]]
    for target in targets:
        sys.stderr.write(f"{target}: {done[target]} cases, {sum(f.target == target for f in faults)} faults\n")
    return Fuzzed(dict(done), peak, tuple(faults))


Tried = tuple[int, int, list[Fault]]
"""How many cases of a door were tried, the process's highest memory, what went wrong."""


def _batch(seed: int, runs: list[tuple[str, int, int]]) -> list[Tried]:
    """One process over some cases of each door, given as its name, the first and how many; as far as it came."""
    with (
        tempfile.TemporaryDirectory(prefix="hissway-fuzz-") as root,
        tempfile.TemporaryDirectory(prefix="hissway-fuzz-") as cache,
        tempfile.TemporaryFile() as errors,
    ):
        told = [f"{door}:{first}:{count}" for door, first, count in runs]
        command = [sys.executable, "-m", "tests.fuzz.worker", str(seed), root, *told]
        home = str(Path(root) / "home")
        here = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "HOME": home, "HISSWAY_JOBS": home}
        here["MPLCONFIGDIR"] = cache  # the plotting library's own; not ours to judge
        worker = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, env=here, cwd=CHECKOUT)
        lines = _lines_of(worker)
        came: list[Tried] = []
        try:
            for door, first, _ in runs:
                came.append(_listen(worker, lines, door, first, errors))
                if worker.returncode is not None:  # it ended before it said that it was done
                    break
            return came
        finally:
            worker.kill()
            worker.wait()


def _lines_of(worker: subprocess.Popen[bytes]) -> queue.Queue[bytes]:
    """Lines to the one who waits for them; an empty one at the end."""
    lines: queue.Queue[bytes] = queue.Queue()
    source = worker.stdout
    assert source is not None

    def pass_on() -> None:
        for line in source:
            lines.put(line)
        lines.put(b"")

    threading.Thread(target=pass_on, daemon=True).start()
    return lines


def _listen(
    worker: subprocess.Popen[bytes], lines: queue.Queue[bytes], target: str, first: int, errors: IO[bytes]
) -> Tried:
    faults: list[Fault] = []
    at = first - 1
    while True:
        try:
            line = lines.get(timeout=SILENCE_S if at >= first else START_S)
        except queue.Empty:
            worker.kill()
            worker.wait()
            return at - first + 1, 0, [*faults, Fault(target, at, f"hang: nothing for {SILENCE_S:.0f} s")]
        if not line:
            break
        said = json.loads(line)
        if "case" in said:
            at = said["case"]
        elif "fault" in said:
            faults.append(Fault(target, said["of"], said["fault"]))
        elif said.get("done"):
            return at - first + 1, said["peak_mb"], faults
    code = worker.wait()
    if not (faults and faults[-1].case == at):
        errors.seek(0)
        last = errors.read().decode(errors="replace").strip().rpartition("\n")[2]
        faults.append(Fault(target, at, f"died: the process ended with code {code}: {last[:200]}"))
    return at - first + 1, 0, faults


def table(found: Fuzzed) -> str:
    """The doors with their cases, then every fault."""
    lines = [f"{sum(found.cases.values())} cases:"]
    for target, cases in found.cases.items():
        bad = sum(f.target == target for f in found.faults)
        lines.append(f"  {target:<12} {cases:6d} cases  {bad:4d} faults  {found.peak_mb.get(target, 0):5d} MB at most")
    lines += [f"  {f.target}:{f.case}  {f.what}" for f in found.faults]
    return "\n".join(lines) + "\n"
