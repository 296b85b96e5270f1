"""Run as a program: feeds doors a run of seeded cases within limits, and says on stdout what each came to.

A line of JSON before each case (so that a case that hangs or kills the process is known by its number) and one for
each fault. Everything it may write lies in a room of its own; whatever appears beside that room is a fault.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sys
import time
import traceback
from pathlib import Path
from typing import Any

from listen.errors import HisswayError
from tests.fuzz.targets import TARGETS

MAX_MEMORY_MB = 500.0
"""Most memory of the whole process while reading input under 10 MB."""
HEADROOM_MB = 1500
"""Address space beyond that at start which the process may reserve; a lying header fails here, not in the machine."""
MAX_WORDS = 700
"""Longest message a user is shown."""


def make_case(target: str, seed: int, n: int, seeds: list[bytes]) -> bytes:
    """Input number ``n``: the same for the same seed, whichever process makes it."""
    return TARGETS[target].make(random.Random(f"{seed}/{target}/{n}"), seeds)


def fault_of(target: str, data: bytes, room: Path) -> str:
    """Feed one input; empty where it was read or refused in one clear sentence, else what went wrong."""
    began = time.process_time()  # whoever else is busy here; what waits for ever is seen from outside
    fault = ""
    try:
        TARGETS[target].feed(data, room)
    except HisswayError as error:
        fault = _words_fault(str(error))
    except MemoryError:
        fault = "memory: the address space ran out"
    except Exception as error:  # noqa: BLE001  finding these is the purpose
        frame = traceback.extract_tb(error.__traceback__)[-1]
        fault = f"traceback: {type(error).__name__}: {error} at {Path(frame.filename).name}:{frame.lineno}"
    took = time.process_time() - began
    return fault or (f"slow: {took:.1f} s" if took > TARGETS[target].seconds else "")


def _words_fault(words: str) -> str:
    if not words.strip() or "Traceback" in words or len(words) > MAX_WORDS:
        return f"words: {words[:200]!r} ({len(words)} characters)"
    if "\n" in words or not words.isprintable():
        return f"words: more than a line, or signs that upset a terminal: {words[:200]!r}"
    return ""


def limit_memory() -> None:
    """Cap the address space of this process where the system can."""
    try:
        import resource

        pages = int(Path("/proc/self/statm").read_text().split()[0])
    except (ImportError, OSError):  # not Linux: the highest resident size is still watched
        return
    most = pages * os.sysconf("SC_PAGE_SIZE") + HEADROOM_MB * 1_000_000
    resource.setrlimit(resource.RLIMIT_AS, (most, most))


def peak_mb() -> float:
    """Highest resident size of this process so far, in megabytes; 0 where the system does not tell.

    Linux counts a parent's peak into ``ru_maxrss`` of what it starts; ``VmHWM`` begins anew with each program.
    """
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
        return next(int(line.split()[1]) / 1e3 for line in lines if line.startswith("VmHWM"))
    except (OSError, StopIteration):
        pass  # not Linux
    try:
        import resource
    except ImportError:
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def _listing(root: Path, room: Path) -> list[str]:
    return sorted(str(p) for p in root.rglob("*") if room not in p.parents and p != room)


def main(seed: str, root: str, *runs: str) -> None:
    """Feed each door in turn, given as ``DOOR:FIRST:COUNT``, cases ``FIRST`` to ``FIRST + COUNT - 1``."""
    place = Path(root)
    room = place / "outer" / "inner" / "room"
    room.mkdir(parents=True)
    (place / "sentinel").write_text("untouched")
    os.chdir(room.parent)
    doors = [(target, int(first), int(count)) for target, first, count in (run.rsplit(":", 2) for run in runs)]
    seeds = {target: TARGETS[target].seeds(_fresh(room)) for target, _, _ in doors}
    for target in seeds:
        fault_of(target, seeds[target][0], _fresh(room))  # imports and caches
    before = set(_listing(place, room))
    limit_memory()
    for target, first, count in doors:
        for n in range(first, first + count):
            _say(case=n)
            data = make_case(target, int(seed), n, seeds[target])
            fault = fault_of(target, data, _fresh(room))
            if not fault and peak_mb() > MAX_MEMORY_MB:
                fault = f"memory: {peak_mb():.0f} MB"
            strange = set(_listing(place, room)) ^ before
            if strange or (place / "sentinel").read_text() != "untouched":
                fault = f"outside: wrote or removed {sorted(strange)[:3]}"
            if fault:
                _say(fault=fault, of=n, bytes=len(data))
            if fault.startswith(("memory", "outside")):
                return  # the next case starts in a clean process
        _say(done=True, peak_mb=round(peak_mb()))


def _fresh(room: Path) -> Path:
    shutil.rmtree(room)
    room.mkdir()
    return room


def _say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
