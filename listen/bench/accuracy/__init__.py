"""How well the judging works: every world by itself, paths named beside peers, detection depth, cover of intervals."""

import argparse
import json
import os
import sys

from listen.errors import UsageError


def run(args: argparse.Namespace) -> int:
    """Measure and print; a missed bar is shown, not hidden, and is no error."""
    import msgspec

    from listen.bench.accuracy.sections import measure, words

    for folder in (args.noise, args.leaks, args.rounds):  # before minutes have gone into it
        if folder is not None and not folder.is_dir():
            raise UsageError(f"{folder}: no such folder; give one that holds recordings")
    args.workers = args.workers or os.cpu_count() or 1
    found = measure(args)
    sys.stdout.write(json.dumps(msgspec.to_builtins(found), allow_nan=False) + "\n" if args.json else words(found))
    return 0
