"""The console script: hands the screens to the command line, and loads them only when asked for."""

import argparse
from collections.abc import Sequence


def main(argv: Sequence[str] | None = None) -> int:
    """Run ``hissway``; returns the exit code."""
    from listen.cli.main import main as command

    return command(argv, open_ui=open_ui, open_demo=open_demo)


def open_ui(args: argparse.Namespace) -> int:
    """Open the screens on the user's jobs (``--jobs DIR`` or the usual folder)."""
    from tui.terminal import run_app

    return run_app(jobs=getattr(args, "jobs", None))


def open_demo(args: argparse.Namespace) -> int:
    """Open the screens on a fresh copy of the demo job, with a simulated microphone."""
    from tui.terminal import run_app

    return run_app(jobs=getattr(args, "jobs", None), demo=True)
