"""The console script: hands the screens to the command line, and loads them only when asked for."""

import argparse
from collections.abc import Sequence
from functools import partial


def main(argv: Sequence[str] | None = None) -> int:
    """Run ``hissway``; returns the exit code."""
    from listen.cli.main import main as command

    return command(argv, open_ui=_open, open_demo=partial(_open, demo=True))


def _open(args: argparse.Namespace, *, demo: bool = False) -> int:
    """Open the screens on the user's jobs (``--jobs DIR`` or the usual folder), or on a fresh copy of the demo's."""
    from tui.terminal import run_app

    return run_app(jobs=getattr(args, "jobs", None), demo=demo)
