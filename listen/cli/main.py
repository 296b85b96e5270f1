"""The ``hissway`` command: the one place where errors become one line and an exit code. Its streams take any sign, are
there even when closed, and fail in one sentence."""

import argparse
import importlib
import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from io import TextIOWrapper
from pathlib import Path
from typing import TextIO

from listen.cli.commands import build_parser
from listen.errors import HisswayError
from listen.voice.text import STANDS_FOR, commands_a_terminal

ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Linear algebra keeps to one thread: the matrices are small, and results agree to the last digit whoever asks."""

INTERRUPTED = 130
"""Exit code after Ctrl-C, 128 + SIGINT as shells have it."""

Opener = Callable[[argparse.Namespace], int]


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
    args = build_parser().parse_args(argv)
    args.open_demo = open_demo
    if args.version:
        from importlib.metadata import version

        print(f"hissway {version('hissway')}")
        return 0
    if args.code is None:
        if open_ui is None:
            raise HisswayError("no screens here; run one of the commands that hissway --help lists")
        return open_ui(args)
    # Loaded only now, and nothing but its own: help and refusals are not kept waiting by what no one asked for.
    module, function = args.code.split(":")
    code: int = getattr(importlib.import_module(module), function)(args)
    return code


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
