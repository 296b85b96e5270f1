"""The parser of the command line, made from ``commands.toml``; no command's code is loaded to say what may be typed."""

import argparse
import sys
import tomllib
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

from listen.voice.text import plain

MOST_SEED = 2**63 - 1
MOST_DIGITS = 25
"""More digits than any bound has; Python refuses to read thousands of them."""


def whole(least: int, most: int, what: str = "a whole number") -> Callable[[str], int]:
    """The ``type`` of an argument that takes whole numbers from ``least`` to ``most`` and refuses others by name."""

    def read(text: str) -> int:
        digits = text.removeprefix("-")
        if digits.isdecimal() and len(digits) <= MOST_DIGITS and least <= (value := int(text)) <= most:
            return value
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is not {what} from {least} to {most}")

    return read


seed = whole(0, MOST_SEED)
TABLE = Path(__file__).with_name("commands.toml")
READ = {"path": Path, "float": float, "int": int, "seed": seed}
JOBS = {"say": "--jobs", "metavar": "DIR", "help": "folder that holds the jobs (default: HISSWAY_JOBS or user data)"}

Row = dict[str, Any]


class Parser(argparse.ArgumentParser):
    """Argument parser that answers unknown input with one clear line and exit code 2."""

    def error(self, message: str) -> NoReturn:
        print(f"{self.prog}: {plain(message)}; see {self.prog} --help", file=sys.stderr)
        raise SystemExit(2)


@cache
def build_parser() -> Parser:
    """Parser for everything; what it parsed names in ``code`` the function that does it, None where no command is."""
    parser = Parser(
        prog="hissway",
        description="Says where the air escapes during a cylinder leakage test, and how sure it is. "
        "Without a command it opens the terminal screens on your jobs.",
        epilog="Example: hissway demo",
    )
    _add(parser, [{"say": "--version", "help": "print the version and stop"}, JOBS])
    parser.set_defaults(code=None)
    _add_commands(parser, tomllib.loads(TABLE.read_text("utf-8")), "COMMAND", "listen.cli.{}:run")
    return parser


def _add_commands(parser: Parser, rows: dict[str, Row], what: str, usual: str, each: Sequence[Row] = ()) -> None:
    """A parser a row; ``usual`` says whose code it is where the row does not, ``each`` what all of them take."""
    commands = parser.add_subparsers(dest=what.lower(), metavar=what, required=what == "BENCH")
    for name, row in rows.items():
        sub = commands.add_parser(name, help=row["does"], description=row["does"], epilog=f"Example: {row['example']}")
        sub.set_defaults(code=row.get("code", usual.format(name.replace("-", "_"))))
        _add(sub, [*each, *row.get("takes", ())])
        if "actions" in row:
            actions = "BENCH" if name == "bench" else "ACTION"
            _add_commands(sub, row["actions"], actions, f"listen.cli.{name}:{{}}", row.get("each", ()))
        if row.get("jobs"):
            # Suppressed where it is not given: its default must not undo one that stood before the command.
            _add(sub, [{**JOBS, "default": argparse.SUPPRESS}])


def _add(parser: Parser, rows: Sequence[Row]) -> None:
    one_of = None  # argparse keeps what excludes each other in a group of its own
    for row in rows:
        given = {key: value for key, value in row.items() if key not in ("say", "type", "one_of")}
        if (kind := row.get("type")) is not None:
            given["type"] = READ[kind] if isinstance(kind, str) else whole(*kind)
        if row["say"].startswith("-") and not given.keys() & {"metavar", "choices"}:
            given["action"] = "store_true"
        if isinstance(given.get("metavar"), list):
            given["metavar"] = tuple(given["metavar"])
        if row.get("one_of"):
            one_of = one_of or parser.add_mutually_exclusive_group()
        (one_of if row.get("one_of") and one_of else parser).add_argument(*row["say"].split(), **given)
