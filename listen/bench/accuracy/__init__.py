"""How well the judging works: every world by itself, paths named beside peers, detection depth, cover of intervals."""

import argparse
import json
import os
import sys
from pathlib import Path

from listen.errors import UsageError
from listen.whole_number import seed, whole

SUMMARY = "every world by itself, paths named beside peers, detection against the limit, cover of the intervals"
EXAMPLE = "hissway bench accuracy --rounds-drawn 200 --seed 1"
_COUNT, _COUNT_OR_0, _PROCESSES = whole(1, 10**6), whole(0, 10**6), whole(1, 1024)
PARTS = ("worlds", "rounds", "recorded", "detection", "coverage")
"""``recorded``: rounds over the recordings of ``--noise`` only. The last only where asked for."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rounds-drawn", type=_COUNT, default=200, help="rounds a set; all else scales (default 200)")
    parser.add_argument(
        "--tune-rounds", type=_COUNT_OR_0, default=150, help="rounds the peers are fitted on; 0: no peers"
    )
    parser.add_argument(
        "--noise",
        type=Path,
        metavar="DIR",
        help="also draw rounds over recordings background-*.flac; with --only worlds: its rounds in those shops",
    )
    parser.add_argument("--leaks", type=Path, metavar="DIR", help="half of the leaks sound as recordings hiss-*.flac")
    parser.add_argument("--rounds", type=Path, metavar="DIR", help="score this truth-labelled archive instead")
    parser.add_argument("--only", choices=PARTS, help="one part only")
    parser.add_argument("--seed", type=seed, default=1, help="seed of everything drawn (default 1)")
    parser.add_argument(
        "--workers", type=_PROCESSES, default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument(
        "--cache", type=Path, metavar="DIR", help="keep here what was measured of the worlds; the next run only judges"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object instead of the table")


def run(args: argparse.Namespace) -> int:
    """Measure and print; a missed bar is shown, not hidden, and is no error."""
    import msgspec

    from listen.bench.accuracy.sections import measure, words

    for folder in (args.noise, args.leaks, args.rounds):  # before minutes have gone into it
        if folder is not None and not folder.is_dir():
            raise UsageError(f"{folder}: no such folder; give one that holds recordings")
    found = measure(args)
    sys.stdout.write(json.dumps(msgspec.to_builtins(found), allow_nan=False) + "\n" if args.json else words(found))
    return 0
