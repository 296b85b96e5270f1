"""What a run of the bench does: which parts, in which order, and all they found."""

import argparse
import sys
from pathlib import Path

import msgspec

from listen.bench.accuracy.contest import Contest, WorldScores, contest_archive, contest_drawn, worlds
from listen.bench.accuracy.cover import Cover, cover
from listen.bench.accuracy.detection import Detection, detection
from listen.bench.accuracy.table import contest_table, cover_table, detection_table, worlds_table
from listen.errors import UsageError
from listen.lab.simulator.shops import recorded_leaks

SCHEMA = "hissway.accuracy/1"


class Accuracy(msgspec.Struct, frozen=True, kw_only=True):
    schema: str = SCHEMA
    seed: int
    contests: tuple[Contest, ...] = ()
    detection: Detection | None = None
    cover: tuple[Cover, ...] = ()
    worlds: tuple[WorldScores, ...] = ()


def measure(args: argparse.Namespace) -> Accuracy:
    """Run the parts asked for.

    Raises UsageError: ``--only recorded`` without ``--noise``; ``--leaks`` with a folder that holds none.
    RoundError, ClipError: an archive or recording that cannot be read."""
    if args.only == "recorded" and args.noise is None:
        raise UsageError("--only recorded needs --noise DIR, the folder of background-*.flac")
    if args.leaks is not None and not recorded_leaks(args.leaks, "report"):
        raise UsageError(f"--leaks {args.leaks}: holds no hiss-*.flac for reported rounds; give another folder")
    if args.rounds is not None:
        _say(f"scoring the archive {args.rounds}")
        return Accuracy(
            seed=args.seed, contests=(contest_archive(args.rounds, args.tune_rounds, args.seed, args.workers),)
        )
    each: tuple[WorldScores, ...] = ()
    if args.only in (None, "worlds"):
        noise = args.noise if args.only == "worlds" else None
        _say(f"{args.rounds_drawn} rounds of every world{' in recorded shops' if noise else ''}")
        each = worlds(args.rounds_drawn, args.seed, args.workers, args.cache, noise)
    contests = []
    for noise in _backgrounds(args):
        _say(f"{args.rounds_drawn} rounds over {'recordings' if noise else 'synthetic shops'}, then the peers' fit")
        contests.append(contest_drawn(noise, args.leaks, args.rounds_drawn, args.tune_rounds, args.seed, args.workers))
    found = covered = None
    if args.only in (None, "detection"):
        _say("detection in steady noise")
        found = detection(args.rounds_drawn, args.seed, args.workers)
    if args.only in (None, "coverage"):
        _say("cover of the intervals")
        covered = cover(args.rounds_drawn, args.noise, args.seed, args.workers)
    return Accuracy(seed=args.seed, contests=tuple(contests), detection=found, cover=covered or (), worlds=each)


def _backgrounds(args: argparse.Namespace) -> list[Path | None]:
    """Sets of rounds asked for: None stands for the synthetic shops."""
    out: list[Path | None] = [None] if args.only in (None, "rounds") else []
    recorded = args.noise is not None and args.only in (None, "rounds", "recorded")
    return [*out, args.noise] if recorded else out


def _say(what: str) -> None:
    sys.stderr.write(f"accuracy: {what}\n")
    sys.stderr.flush()


def words(found: Accuracy) -> str:
    parts = [worlds_table(found.worlds)] if found.worlds else []
    parts += [contest_table(c) for c in found.contests]
    if found.detection is not None:
        parts.append(detection_table(found.detection))
    if found.cover:
        parts.append(cover_table(found.cover))
    return "\n\n".join(parts)
