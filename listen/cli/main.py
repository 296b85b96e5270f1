"""The ``hissway`` command: one table of commands, one place where errors become one line and an exit code. Its streams
take any sign, are there even when closed, and fail in one sentence."""

import argparse
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from io import TextIOWrapper
from pathlib import Path
from typing import NoReturn, TextIO

from listen.errors import HisswayError
from listen.voice.text import STANDS_FOR, commands_a_terminal, plain

COMMANDS = {
    "demo": "the main job on the shipped, simulated recordings; no microphone needed",
    "rank": "excess per point, odds per path and verdict for rounds of sound files or for jobs",
    "record": "record one clip at one listening point, and say what is doubtful about it",
    "mic": "list the inputs, or check one: rate, bandwidth, floor, clipping, automatic gain, noise suppression",
    "report": "make a report of a job: one HTML page with drawings, plots and playable clips (or PDF, Markdown, JSON)",
    "pack": "write a job as one zip (a BagIt bag) that another machine can check and open",
    "unpack": "take a packed job in: checked whole, added to the same job here or put beside it, never overwriting",
    "verify": "compute again what a job claims: hashes, journal, history, signatures, decisions, every stored result",
    "salvage": "bring back what a damaged job still holds, into a new job that says so; the damaged one is only read",
    "key": "show the shop's signing key by its fingerprint, or make one; keep the list of keys known by name",
    "lab": "drills for the ear: list, make, score, export; the drills themselves run on the screens",
    "bench": "the project's own accuracy and speed figures, with peers side by side",
}
"""What each does; each is one module of this package with EXAMPLE, add_arguments(parser) and run(args)."""

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Linear algebra keeps to one thread: the matrices are small, and results agree to the last digit whoever asks."""

JOBS_COMMANDS = ("demo", "report", "pack", "unpack", "verify", "salvage", "lab")
"""Those that look among the user's jobs; ``--jobs`` may stand after them too."""

INTERRUPTED = 130
"""Exit code after Ctrl-C, 128 + SIGINT as shells have it."""

Opener = Callable[[argparse.Namespace], int]


class _Parser(argparse.ArgumentParser):
    """Argument parser that answers unknown input with one clear line and exit code 2."""

    def error(self, message: str) -> NoReturn:
        print(f"{self.prog}: {plain(message)}; see {self.prog} --help", file=sys.stderr)
        raise SystemExit(2)


def build_parser(command: str | None) -> argparse.ArgumentParser:
    """Parser for everything; only ``command``'s own module is loaded, so that start-up stays quick."""
    parser = _Parser(
        prog="hissway",
        description="Says where the air escapes during a cylinder leakage test, and how sure it is. "
        "Without a command it opens the terminal screens on your jobs.",
        epilog="Example: hissway demo",
    )
    parser.add_argument("--version", action="store_true", help="print the version and stop")
    jobs_help = "folder that holds the jobs (default: HISSWAY_JOBS or user data)"
    parser.add_argument("--jobs", metavar="DIR", help=jobs_help)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    for name, summary in COMMANDS.items():
        sub = commands.add_parser(name, help=summary, description=summary)
        if name == command:
            module = importlib.import_module(f"listen.cli.{name}")
            sub.epilog = f"Example: {module.EXAMPLE}"
            module.add_arguments(sub)
            # Suppressed where it is not given: its default must not undo one that stood before the command.
            if name in JOBS_COMMANDS:
                sub.add_argument("--jobs", metavar="DIR", default=argparse.SUPPRESS, help=jobs_help)
            sub.set_defaults(run=module.run)
    return parser


def main(argv: Sequence[str] | None = None, *, open_ui: Opener | None = None, open_demo: Opener | None = None) -> int:
    """Run one command; returns its exit code. The screens, if installed above, are handed in as callables."""
    # Before anything loads numpy, which reads them once.
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    make_ready()
    try:
        try:
            return _run(list(sys.argv[1:] if argv is None else argv), open_ui, open_demo)
        finally:
            # Here, where a full disk or a closed pipe can still be told: the interpreter's own flush comes too late.
            sys.stdout.flush()
    except HisswayError as e:
        say(f"hissway: {e}")
        return e.exit_code
    except KeyboardInterrupt:
        say("hissway: stopped")
        return INTERRUPTED
    except BrokenPipeError:
        drop(sys.stdout)
        return 1
    except OSError as e:
        drop(sys.stdout)
        what = e.filename if isinstance(e.filename, str) else "the output"
        why = f"cannot be read or written ({e.strerror or e}); make room, or choose another place"
        say(f"hissway: {HisswayError(f'{what}: {why}')}")
        return 1


def _run(argv: list[str], open_ui: Opener | None, open_demo: Opener | None) -> int:
    args = build_parser(_command(argv)).parse_args(argv)
    args.open_demo = open_demo
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


def _command(argv: Sequence[str]) -> str | None:
    """The command that is asked for; the value of ``--jobs`` may have the name of one."""
    words = iter(argv)
    for word in words:
        if word in COMMANDS:
            return word
        # Abbreviations too, which argparse takes.
        if len(word) > len("--") and "--jobs".startswith(word):
            next(words, None)
    return None


class _Terminal(TextIOWrapper):
    """A terminal to which only what is drawn goes: titles, names, paths and devices are other people's words."""

    def write(self, text: str) -> int:
        """Write; what would steer the terminal is replaced, but for line ends and our own carriage returns."""
        if not text.isprintable():
            text = "".join(STANDS_FOR if c not in "\t\n\r" and commands_a_terminal(c) else c for c in text)
        return super().write(text)


def make_ready() -> None:
    """Open what the caller closed; files and pipes get UTF-8, a terminal keeps its own coding; no sign is refused."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if isinstance(stream, TextIOWrapper) and not isinstance(stream, _Terminal) and stream.isatty():
            stream.flush()  # what was there stays open beside it: closing it would close the terminal
            guarded = _Terminal(stream.buffer, encoding=stream.encoding, errors="backslashreplace", line_buffering=True)
            setattr(sys, name, guarded)
            continue
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115  open as long as the process
        elif isinstance(stream, TextIOWrapper):
            stream.reconfigure(encoding=None if stream.isatty() else "utf-8", errors="backslashreplace")


def say(text: str) -> None:
    """One line on standard error; where not even that can be written, nothing."""
    try:
        print(text, file=sys.stderr, flush=True)
    except OSError:
        drop(sys.stderr)


def drop(stream: TextIO) -> None:
    """Let what a stream still holds go nowhere, so that the interpreter does not complain when it ends."""
    with suppress(OSError, ValueError):  # one without a descriptor has nobody to complain to
        nowhere = os.open(os.devnull, os.O_WRONLY)
        # By descriptor: what the interpreter flushes as it ends goes there as well.
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
