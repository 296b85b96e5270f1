"""Standard output and standard error that take any sign, are there even when closed, and fail in one sentence."""

import os
import sys
from contextlib import suppress
from io import TextIOWrapper
from pathlib import Path
from typing import TextIO

from listen.voice.text import STANDS_FOR, steers


class _Terminal(TextIOWrapper):
    """A terminal to which only what is drawn goes: titles, names, paths and devices are other people's words."""

    def write(self, text: str) -> int:
        """Write; what would steer the terminal is replaced, but for line ends and our own carriage returns."""
        if not text.isprintable():
            text = "".join(STANDS_FOR if c not in "\t\n\r" and steers(c) else c for c in text)
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
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
