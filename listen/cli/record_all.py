"""``hissway record --all``: one take from several channels of one input, a file a point."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from listen.cli.attended import note_commands
from listen.cli.record import STOPPED, commands, finished, free_name, from_microphone, tell, told
from listen.errors import ClipError, RoundError, UsageError

FEWEST, MOST = 2, 16
UNUSED = "-"


def run_all(args: argparse.Namespace) -> int:
    """Record, write, check; 1 where a channel was lost and the others were kept."""
    points = _points(args)
    folder: Path = args.output
    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder; --all writes a file a point into one")
    targets = [None if p is None else free_name(folder, f"{p}-{args.kind}") for p in points]
    parts = [None if t is None else t.with_name(t.name + ".part") for t in targets]
    left = [p for p in parts if p is not None and p.exists()]
    if args.finish:
        if not left:
            raise UsageError(f"{folder}: holds no interrupted take of these points")
        made = [(t, p) for t, p in zip(targets, parts, strict=True) if t is not None and p in left]
        return _written(made, args, len(made))
    if left and not args.force:
        raise UsageError(f"{left[0]} holds an interrupted recording; --finish makes files of it, --force drops it")
    for old in left:
        old.unlink()
    recordings = from_microphone(
        args,
        lambda mic, stop: mic.record_all(parts, args.seconds, stop, told),
        lambda: "--finish makes files of what arrived",
        len(points),
    )
    if any(r is not None and r.cancelled for r in recordings):
        _drop(parts)
        print("stopped; nothing was kept", file=sys.stderr)
        return STOPPED
    made = [
        (t, p)
        for t, p, r in zip(targets, parts, recordings, strict=True)
        if t is not None and p is not None and r is not None
    ]
    _drop([p for p, r in zip(parts, recordings, strict=True) if r is None])
    return _written(made, args, sum(t is not None for t in targets))


def _drop(parts: Sequence[Path | None]) -> None:
    for part in parts:
        if part is not None:
            part.unlink(missing_ok=True)


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


def _written(made: list[tuple[Path, Path]], args: argparse.Namespace, wanted: int) -> int:
    together = made[0][0].stem if made else ""
    written = 0
    for target, part in made:
        try:
            clip = finished(part, target)
        except ClipError as error:  # a dead channel's part holds no sound: the others must not wait for it
            print(f"again: {error} (--force drops what is left of it)", file=sys.stderr)
            continue
        written += 1
        if on_s := commands(args):
            note_commands(target, on_s, together)
        tell(target, clip)
    return int(written < wanted)
