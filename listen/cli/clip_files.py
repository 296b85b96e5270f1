"""Which file ``hissway record`` writes a clip to, or each channel of a take of all points."""

import argparse
import os
import re
import sys
from pathlib import Path

from listen.audio.write import FORMS
from listen.errors import RoundError, UsageError
from listen.trade.points import point

FEWEST, MOST = 2, 16
UNUSED = "-"
LONGEST_NAME = 200
"""Bytes of a file's name: file systems take 255, and the unfinished clip's name is longer."""


def clip_files(args: argparse.Namespace) -> list[Path | None]:
    """The file of each channel, with ``--all`` numbered after what is there; None for an unused one."""
    if not args.all:
        return [_target(args)]
    points = _points(args)
    folder: Path = args.output
    if not folder.is_dir():
        raise UsageError(f"{folder}: no such folder; --all writes a file a point into one")
    return [None if p is None else free_name(folder, f"{p}-{args.kind}") for p in points]


def _points(args: argparse.Namespace) -> list[str | None]:
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


def _target(args: argparse.Namespace) -> Path:
    if args.point is None or args.channels is not None:
        raise UsageError("give a POINT, or --all with --channels")
    try:
        point(args.point)
    except RoundError as error:
        raise UsageError(str(error)) from error
    target: Path = args.output
    if len(os.fsencode(target.name)) > LONGEST_NAME:
        raise UsageError(f"{target}: the name is too long; at most {LONGEST_NAME} bytes are taken")
    if target.is_dir():
        target = free_name(target, f"{args.point}-{args.kind}")
    if target.suffix.lower() not in FORMS:
        raise UsageError(f"{target}: clips are written as .flac or .wav")
    if not target.parent.is_dir():
        raise UsageError(f"{target.parent}: no such folder; make it first")
    if target.exists() and not args.force:
        raise UsageError(f"{target} is there already; choose another name, or --force to replace it")
    _note_other_name(target, args.point, args.kind)
    return target


def free_name(folder: Path, stem: str) -> Path:
    """``<point>-<kind>.flac`` in ``folder``, numbered after the last take of it there is (no number means 1)."""
    named = re.compile(re.escape(stem) + r"(?:-(\d{1,4}))?", re.IGNORECASE)
    clips = (p.stem for p in folder.iterdir() if p.suffix.lower() in FORMS)
    numbers = [int(found[1] or 1) for name in clips if (found := named.fullmatch(name))]
    return folder / (f"{stem}-{max(numbers) + 1}.flac" if numbers else f"{stem}.flac")


def _note_other_name(target: Path, point_id: str, kind: str) -> None:
    if not re.fullmatch(re.escape(f"{point_id}-{kind}") + r"(-\d+)?", target.stem):
        print(
            f"note: rank reads point and kind from the file name; {target.name} is not {point_id}-{kind}",
            file=sys.stderr,
        )
