"""The ``hissway`` command: one table of commands, one place where errors become one line and an exit code."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from listen.errors import HisswayError

COMMANDS = ("demo", "rank", "record", "mic", "report", "pack", "unpack", "verify", "key", "lab", "bench")
"""Each is one module of this package with SUMMARY, EXAMPLE, add_arguments(parser) and run(args)."""

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Linear algebra keeps to one thread: the matrices are small, and results agree to the last digit whoever asks."""

INTERRUPTED = 130
"""Exit code after Ctrl-C, 128 + SIGINT as shells have it."""

Opener = Callable[[argparse.Namespace], int]


class _Parser(argparse.ArgumentParser):
    """Argument parser that answers unknown input with one clear line and exit code 2."""

    def error(self, message: str) -> NoReturn:
        print(f"{self.prog}: {message}; see {self.prog} --help", file=sys.stderr)
        raise SystemExit(2)


def build_parser(command: str | None) -> argparse.ArgumentParser:
    """Parser for everything; only ``command``'s own module is asked for its arguments, so that start-up stays quick."""
    parser = _Parser(
        prog="hissway",
        description="Says where the air escapes during a cylinder leakage test, and how sure it is. "
        "Without a command it opens the terminal screens on your jobs.",
        epilog="Example: hissway demo",
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    parser.add_argument("--jobs", metavar="DIR", help="folder that holds the jobs (default: HISSWAY_JOBS or user data)")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    for name in COMMANDS:
        module = importlib.import_module(f"listen.cli.{name}")
        sub = commands.add_parser(
            name,
            help=module.SUMMARY,
            description=module.SUMMARY,
            epilog=f"Example: {module.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if name == command:
            module.add_arguments(sub)
        sub.set_defaults(run=module.run)
    return parser


def main(argv: Sequence[str] | None = None, *, open_ui: Opener | None = None, open_demo: Opener | None = None) -> int:
    """Run one command; returns its exit code. The screens, if installed above, are handed in as callables."""
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    argv = list(sys.argv[1:] if argv is None else argv)
    command = next((a for a in argv if a in COMMANDS), None)
    args = build_parser(command).parse_args(argv)
    args.open_demo = open_demo
    try:
        if args.version:
            from importlib.metadata import version

            print(f"hissway {version('hissway')}")
            return 0
        if args.command is None:
            if open_ui is None:
                raise HisswayError("no screens here; run one of the commands that hissway --help lists")
            return open_ui(args)
        code: int = args.run(args)
        return code
    except HisswayError as e:
        print(f"hissway: {e}", file=sys.stderr)
        return e.exit_code
    except KeyboardInterrupt:
        print("hissway: stopped", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return 1
