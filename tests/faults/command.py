"""A fault at every operation that a session asks of the disk, one by one, judged by a checker with eyes of its own."""

from __future__ import annotations

import argparse
import errno
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

from listen.cli.commands import whole
from listen.errors import UsageError
from tests.faults.independent import faults_of

SUMMARY = "fail, starve, delay or kill the program at each operation it asks of the disk"
EXAMPLE = "python -m tests faults --every 1"

SHORT, KILL_BEFORE, KILL_AFTER, SLOW = -1, -2, -3, -4
"""As in ``faulty_disk.c``."""
KINDS = {name: getattr(errno, name) for name in ("EIO", "ENOSPC", "EDQUOT", "EROFS", "EACCES", "EMFILE")} | {
    "SHORT": SHORT,
    "KILL-BEFORE": KILL_BEFORE,
    "KILL-AFTER": KILL_AFTER,
    "SLOW": SLOW,
}
CHECKOUT = Path(__file__).parents[2]


class Faulted(NamedTuple):
    """What a run came to."""

    operations: int
    """Of a session without a fault."""
    cases: int
    broken: tuple[str, ...]


def why_not() -> str:
    """What keeps the faulty disk from being built here; empty where nothing does."""
    if not sys.platform.startswith("linux"):
        return "the faulty disk is made for Linux"
    return "" if shutil.which("cc") else "no C compiler to build the faulty disk with"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests faults``."""
    parser.add_argument("--every", type=whole(1, 1000), default=1, help="try every Nth case only (default: all)")


def run(args: argparse.Namespace) -> int:
    """Try all faults and print; exit code 1 where a promise was broken."""
    if reason := why_not():
        raise UsageError(reason)
    with tempfile.TemporaryDirectory(prefix="hissway-faults-") as root:
        found = fail_everywhere(Path(root), args.every)
    words = [f"{found.cases} faults over {found.operations} disk operations: {len(found.broken)} promises broken"]
    sys.stdout.write("\n".join([*words, *(f"  {b}" for b in found.broken)]) + "\n")
    return 1 if found.broken else 0


def fail_everywhere(root: Path, every: int) -> Faulted:
    """One session for every ``every``th pair of operation and kind of fault."""
    library = root / "faulty_disk.so"
    source = Path(__file__).with_name("faulty_disk.c")
    subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", library, source, "-ldl", "-lpthread"], check=True)
    with _sessions(library) as (ask, answers):
        broken = _one(root / "whole", -1, 0, ask, answers)
        operations = broken.operations
        if broken.found or operations == 0:
            return Faulted(operations, 0, ("without any fault: ", *broken.found))
        pairs = [(at, name) for at in range(operations) for name in KINDS][::every]
        told = []
        for at, name in pairs:
            place = root / f"{at}-{name}"
            told += [f"{name} at operation {at}: {b}" for b in _one(place, at, KINDS[name], ask, answers).found]
            shutil.rmtree(place)
    return Faulted(operations, len(pairs), tuple(told))


class _Case(NamedTuple):
    operations: int
    found: list[str]


@contextmanager
def _sessions(library: Path) -> Iterator[tuple[IO[str], IO[str]]]:
    env = {**os.environ, "LD_PRELOAD": str(library), "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-m", "tests.faults.session"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env, cwd=CHECKOUT
    ) as server:
        assert server.stdin and server.stdout
        yield server.stdin, server.stdout
        server.stdin.close()


def _one(place: Path, at: int, kind: int, ask: IO[str], answers: IO[str]) -> _Case:
    place.mkdir()
    ask.write(json.dumps({"folder": str(place), "at": at, "kind": kind}) + "\n")
    ask.flush()
    done = json.loads(answers.readline())
    said: list[str] = done["said"]
    found = [f"{line[:600]}" for line in (*said, *done["later"]) if line.startswith("traceback")]
    if done["ended"] not in ((-9,) if kind in (KILL_BEFORE, KILL_AFTER) else (0, 7)):
        found.append(f"ended with {done['ended']}")
    if kind in (SHORT, SLOW):
        found += [f"a disk that is only slow, or takes a part, refuses: {line}" for line in said if line[:5] == "told "]
    if done["well"] != 0:
        found.append(f"opening again ended with {done['well']}")
    found += [line for line in done["later"] if line.startswith("listed") and line.split(" ", 2)[2]]
    found += faults_of(place / "jobs", said)
    count = next((int(line.split()[1]) for line in said if line.startswith("operations ")), 0)
    return _Case(count, found)
