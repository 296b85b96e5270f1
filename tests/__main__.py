"""``python -m tests crash | faults | fuzz | keys | soak``: long runs that kill, starve and mislead the program;
``ceiling`` and ``switched`` tell what could be known and heard at all, ``jobs`` what learning an engine is worth,
``recordings`` makes what is shipped, ``plot`` draws the bench's figures, ``slips`` counts how many slips of whoever
records are noticed."""

from __future__ import annotations

import argparse
import importlib
import os
import sys

from listen.cli.main import ONE_THREAD
from listen.errors import HisswayError

LONG_RUNS = {
    "both-ways": "tests.bench.both_ways",
    "ceiling": "tests.bench.ceiling",
    "crash": "tests.crash.command",
    "faults": "tests.faults.command",
    "fuzz": "tests.fuzz.command",
    "jobs": "tests.bench.whole_jobs",
    "keys": "tests.keys.command",
    "plot": "tests.bench.plot",
    "recordings": "tests.demo.job",
    "slips": "tests.rounds.slip_rates",
    "soak": "tests.soak.session",
    "switched": "tests.bench.switched",
    "taught": "tests.bench.taught",
}
"""Each a module with SUMMARY, EXAMPLE, add_arguments(parser) and run(args)."""


def main() -> int:
    """Run the one that was named; exit code 1 where a promise was broken, 2 where it cannot run."""
    for name in ONE_THREAD:  # as every command: before NumPy is loaded, and for the processes started from here
        os.environ.setdefault(name, "1")
    parser = argparse.ArgumentParser(prog="python -m tests", description=__doc__)
    runs = parser.add_subparsers(dest="run", metavar="RUN", required=True)
    for name, place in LONG_RUNS.items():
        module = importlib.import_module(place)
        sub = runs.add_parser(
            name, description=module.SUMMARY, help=module.SUMMARY, epilog=f"Example: {module.EXAMPLE}"
        )
        module.add_arguments(sub)
        sub.set_defaults(run=module.run)
    args = parser.parse_args()
    try:
        return int(args.run(args))
    except HisswayError as error:
        sys.stderr.write(f"{error}\n")
        return 2


if __name__ == "__main__":
    sys.exit(main())
