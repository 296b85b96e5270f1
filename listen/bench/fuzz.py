"""Hostile input by the thousand: no traceback, no hang, no memory without bounds, nothing written outside."""

from __future__ import annotations

import argparse
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

from listen.errors import UsageError

SUMMARY = "hostile sound files, journals, bags and readings: no traceback, no hang, no runaway memory"

BATCH = 500
"""Cases a process takes before a fresh one, so that a leak cannot hide and a crash costs little."""
SILENCE_S = 8.0
"""A process that says nothing for so long hangs and is killed; a case may take 2 s."""
START_S = 60.0
"""Imports on a cold, busy machine."""


class Fault(msgspec.Struct, frozen=True):
    """One case that went wrong; ``hissway bench fuzz --case TARGET:N --seed S`` repeats it."""

    target: str
    case: int
    what: str


class Fuzzed(msgspec.Struct, frozen=True):
    """What a run came to."""

    cases: dict[str, int]
    peak_mb: dict[str, int]
    faults: tuple[Fault, ...]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``hissway bench fuzz``."""
    parser.add_argument("--cases", type=int, default=5000, help="cases over all doors (default 5000)")
    parser.add_argument("--seed", type=int, default=1, help="seed of all changes (default 1)")
    parser.add_argument("--target", action="append", help="only this door; may be given again")
    parser.add_argument("--case", help="repeat one case, TARGET:N, and keep its input in the current folder")


def run(args: argparse.Namespace) -> int:
    """Fuzz and print; exit code 1 where anything went wrong."""
    from listen.bench.fuzz_targets import TARGETS

    if args.case:
        return _repeat(args.case, args.seed)
    targets = args.target or list(TARGETS)
    if unknown := set(targets) - set(TARGETS):
        raise UsageError(f"no such door: {', '.join(sorted(unknown))}; there are {', '.join(TARGETS)}")
    found = fuzz(targets, args.cases, args.seed)
    sys.stdout.write(table(found))
    return 1 if found.faults else 0


def fuzz(targets: list[str], cases: int, seed: int) -> Fuzzed:
    """Feed ``cases`` inputs, shared evenly among ``targets``."""
    done: Counter[str] = Counter()
    peak: dict[str, int] = {}
    faults: list[Fault] = []
    for target in targets:
        first, end = 0, -(-cases // len(targets))
        while first < end:
            count = min(BATCH, end - first)
            tried, high, new = _batch(target, seed, first, count)
            faults += new
            done[target] += tried
            peak[target] = max(peak.get(target, 0), high)
            if tried == 0:
                break  # it did not even start; the fault says so
            first += tried
    return Fuzzed(dict(done), peak, tuple(faults))


def _batch(target: str, seed: int, first: int, count: int) -> tuple[int, int, list[Fault]]:
    """One process over some cases: how many it tried, its highest memory, what went wrong."""
    with (
        tempfile.TemporaryDirectory(prefix="hissway-fuzz-") as root,
        tempfile.TemporaryDirectory(prefix="hissway-fuzz-") as cache,
        tempfile.TemporaryFile() as errors,
    ):
        command = [sys.executable, "-m", "listen.bench.fuzz_worker", target, str(seed), str(first), str(count), root]
        home = str(Path(root) / "home")
        here = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "HOME": home, "HISSWAY_JOBS": home}
        here["MPLCONFIGDIR"] = cache  # the plotting library's own; not ours to judge
        worker = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, env=here)
        try:
            return _listen(worker, target, first, errors)
        finally:
            worker.kill()
            worker.wait()


def _pass_on(source: IO[bytes], lines: queue.Queue[bytes]) -> None:
    """Lines to the one who waits for them; an empty one at the end."""
    for line in source:
        lines.put(line)
    lines.put(b"")


def _listen(
    worker: subprocess.Popen[bytes], target: str, first: int, errors: IO[bytes]
) -> tuple[int, int, list[Fault]]:
    lines: queue.Queue[bytes] = queue.Queue()
    assert worker.stdout is not None
    threading.Thread(target=_pass_on, args=(worker.stdout, lines), daemon=True).start()
    faults: list[Fault] = []
    at = first - 1
    while True:
        try:
            line = lines.get(timeout=SILENCE_S if at >= first else START_S)
        except queue.Empty:
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


def _repeat(case: str, seed: int) -> int:
    """Feed one case in this process, keeping its input."""
    from listen.bench.fuzz_targets import TARGETS
    from listen.bench.fuzz_worker import fault_of, make_case

    target, _, number = case.rpartition(":")
    if target not in TARGETS or not number.isdigit():
        raise UsageError(f"--case {case}: expected TARGET:N with a door of {', '.join(TARGETS)}")
    with tempfile.TemporaryDirectory(prefix="hissway-fuzz-") as root:
        seeding, feeding = Path(root) / "seeding", Path(root) / "feeding"
        seeding.mkdir()
        feeding.mkdir()
        data = make_case(target, seed, int(number), TARGETS[target].seeds(seeding))
        kept = Path(f"fuzz-{target}-{number}.bin")
        kept.write_bytes(data)
        fault = fault_of(target, data, feeding)
    sys.stdout.write(f"{case}: {fault or 'read, or refused in one sentence'}; input kept as {kept}\n")
    return 1 if fault else 0


def table(found: Fuzzed) -> str:
    """The doors with their cases, then every fault."""
    lines = [f"{sum(found.cases.values())} cases:"]
    for target, cases in found.cases.items():
        bad = sum(f.target == target for f in found.faults)
        lines.append(f"  {target:<12} {cases:6d} cases  {bad:4d} faults  {found.peak_mb.get(target, 0):5d} MB at most")
    lines += [f"  {f.target}:{f.case}  {f.what}" for f in found.faults]
    return "\n".join(lines) + "\n"
