"""Which file each channel of ``hissway record --all`` is written to: one a point."""

from __future__ import annotations

import argparse
from pathlib import Path

from listen.errors import RoundError, UsageError

FEWEST, MOST = 2, 16
UNUSED = "-"


def channel_files(args: argparse.Namespace) -> list[Path | None]:
    """The file of each channel, numbered after what is there; None for an unused one."""
    from listen.cli.record import free_name

    points = _points(args)
    folder: Path = args.output
    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder; --all writes a file a point into one")
    return [None if p is None else free_name(folder, f"{p}-{args.kind}") for p in points]


def _points(args: argparse.Namespace) -> list[str | None]:
    from listen.trade.points import point

    if args.point is not None or not args.channels:
        raise UsageError("--all takes no POINT; name the channels with --channels intake,tailpipe,...")
    names = [n.strip() for n in args.channels.split(",")]
    if not FEWEST <= len(names) <= MOST:
        raise UsageError(f"--channels: {len(names)} named; from {FEWEST} to {MOST} channels can be recorded at once")
    try:
        points = [None if n == UNUSED else point(n).id for n in names]
    except RoundError as error:
        raise UsageError(f"--channels: {error}; {UNUSED} stands for an unused channel") from error
    used = [p for p in points if p is not None]
    if not used or len(set(used)) < len(used):
        raise UsageError("--channels: name each point once, and at least one")
    return points
