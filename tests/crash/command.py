"""Writers killed and power lost at random moments: what was acknowledged must be there, the rest offered."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from listen.cli.commands import seed, whole
from listen.errors import UsageError

SUMMARY = "kill writers and cut the power at random moments; everything acknowledged must be there"
EXAMPLE = "python -m tests crash --kills 100 --power 500"

_COUNT = whole(0, 10**6)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests crash``."""
    parser.add_argument("--kills", type=_COUNT, default=300, help="writers killed (default 300; a kill takes 0.1 s)")
    parser.add_argument("--power", type=_COUNT, default=2000, help="power cuts replayed (default 2000; 3 ms each)")
    parser.add_argument("--seed", type=seed, default=1, help="seed of the moments (default 1)")
    parser.add_argument("--folder", help="disk to work on (default: the system's folder for temporary files)")


def run(args: argparse.Namespace) -> int:
    """Crash, check and print; exit code 1 where a promise was broken."""
    from tests.crash.kills import kill_writers
    from tests.crash.power import lose_power

    if args.folder is not None and not Path(args.folder).is_dir():
        raise UsageError(f"{args.folder}: no such folder; make it first")
    with tempfile.TemporaryDirectory(prefix="hissway-crash-", dir=args.folder) as root:
        killed = kill_writers(Path(root) / "kills", args.kills, args.seed)
        power = lose_power(Path(root) / "power", args.power, args.seed)
    lines = [
        f"{killed.kills} writers killed, {killed.in_a_take} of them in the middle of a take, "
        f"after {killed.acknowledged} acknowledgements: {len(killed.broken)} promises broken",
        f"{power.replays} power cuts over {power.operations} disk operations: {len(power.broken)} promises broken",
        *(f"  {b}" for b in (*killed.broken, *power.broken)),
    ]
    sys.stdout.write("\n".join(lines) + "\n")
    return 1 if killed.broken or power.broken else 0
