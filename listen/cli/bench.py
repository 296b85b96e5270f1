"""``hissway bench``: the project's own figures, each from one module of ``listen.bench``, seeded."""

import argparse
import importlib

EXAMPLE = "hissway bench accuracy --rounds-drawn 200 --seed 1"
BENCHES = ("accuracy", "speed")
"""Each is one module or room of ``listen.bench`` with SUMMARY, EXAMPLE, add_arguments(parser) and run(args)."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    benches = parser.add_subparsers(dest="bench", metavar="BENCH", required=True)
    for name in BENCHES:
        module = importlib.import_module(f"listen.bench.{name}")
        sub = benches.add_parser(
            name, help=module.SUMMARY, description=module.SUMMARY, epilog=f"Example: {module.EXAMPLE}"
        )
        module.add_arguments(sub)
        sub.set_defaults(run_bench=module.run)


def run(args: argparse.Namespace) -> int:
    code: int = args.run_bench(args)
    return code
