"""Keeps what C libraries print on file descriptor 2 (ALSA does, at length) apart from what we say on stderr."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def native_stderr_dropped() -> Iterator[None]:
    """Send file descriptor 2 to nowhere while ``sys.stderr`` still reaches the user; for commands, once, at the top."""
    try:
        kept = os.dup(2)
    except OSError:  # no file descriptor 2: nothing can print on it
        yield
        return
    before = sys.stderr
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        sys.stderr = os.fdopen(os.dup(kept), "w", buffering=1, encoding="utf-8", errors="backslashreplace")
        os.dup2(nowhere, 2)
        yield
    finally:
        sys.stderr.close()
        sys.stderr = before
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
