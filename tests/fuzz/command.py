"""Hostile input by the thousand: no traceback, no hang, no memory without bounds, nothing written outside."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from listen.cli.commands import seed, whole
from listen.errors import UsageError

SUMMARY = "hostile sound files, journals, bags and readings: no traceback, no hang, no runaway memory"
EXAMPLE = "python -m tests fuzz --cases 1000 --target wav"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests fuzz``."""
    parser.add_argument("--cases", type=whole(1, 10**7), default=5000, help="cases over all doors (default 5000)")
    parser.add_argument("--seed", type=seed, default=1, help="seed of all changes (default 1)")
    parser.add_argument("--target", action="append", help="only this door; may be given again")
    parser.add_argument("--case", help="repeat one case, TARGET:N, and keep its input in the current folder")


def run(args: argparse.Namespace) -> int:
    """Fuzz and print; exit code 1 where anything went wrong."""
    from tests.fuzz.batches import fuzz, table
    from tests.fuzz.targets import TARGETS

    if args.case:
        return _repeat(args.case, args.seed)
    targets = args.target or list(TARGETS)
    if unknown := set(targets) - set(TARGETS):
        raise UsageError(f"no such door: {', '.join(sorted(unknown))}; there are {', '.join(TARGETS)}")
    found = fuzz(targets, args.cases, args.seed)
    sys.stdout.write(table(found))
    return 1 if found.faults else 0


def _repeat(case: str, seed: int) -> int:
    """Feed one case in this process, keeping its input."""
    from tests.fuzz.targets import TARGETS
    from tests.fuzz.worker import fault_of, make_case

    target, _, number = case.rpartition(":")
    if target not in TARGETS or not number.isdecimal():
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
