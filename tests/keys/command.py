"""Random keys by the thousand on random jobs: no silent exit, no lost clip, no step out of reach."""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
import time
from pathlib import Path

from listen.cli.commands import seed, whole

SUMMARY = "random keys on random jobs: no silent exit, no lost clip, no step out of reach, screen and journal agree"
EXAMPLE = "python -m tests keys --keys 5000"
A_JOB = 200
"""Keys a walk: long enough to get deep, short enough that many jobs are met."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests keys``."""
    parser.add_argument("--keys", type=whole(1, 10**7), default=5000, help="keys over all walks (default 5000)")
    parser.add_argument("--seed", type=seed, default=1, help="seed of the first walk (default 1)")
    parser.add_argument("--go-on", action="store_true", help="go on after a walk that broke something")


def run(args: argparse.Namespace) -> int:
    """Walk and print; exit code 1 where anything did not hold."""
    from tests.keys.walker import Broken, walk

    pressed = mended = broken = 0
    number, screens, began = args.seed, dict[str, int](), time.monotonic()
    while pressed < args.keys:
        keys = min(A_JOB, args.keys - pressed)
        with tempfile.TemporaryDirectory(prefix="hissway-keys-", ignore_cleanup_errors=True) as root:
            try:
                gone = asyncio.run(walk(Path(root), number, keys))
            except Broken as e:
                broken += 1
                sys.stdout.write(f"BROKEN  {e}\n")
                pressed += keys
                number += 1
                if not args.go_on:
                    break
                continue
        pressed += len(gone.pressed)
        mended += gone.mended
        number += 1
        for name, n in gone.screens.items():
            screens[name] = screens.get(name, 0) + n
        sys.stdout.write(f"seed {gone.seed}: {len(gone.pressed)} keys, {gone.mended} lines taken up again\n")
        sys.stdout.flush()
    where = ", ".join(f"{name} {n}" for name, n in sorted(screens.items(), key=lambda x: -x[1]))
    sys.stdout.write(
        f"{pressed} keys in {number - args.seed} walks, {time.monotonic() - began:.0f} s: {broken} broken, "
        f"{mended} lines taken up again\nkeys by screen: {where}\n"
    )
    return 1 if broken else 0
