"""``hissway rank``: judge any number of loose rounds or job folders, one result each, in the order given."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from listen.judge.result import RoundResult
    from listen.rounds.model import Round

SUMMARY = "excess per point, odds per path and verdict for rounds of sound files or for jobs"
EXAMPLE = "hissway rank cylinder-3 cylinder-4 --json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``hissway rank``."""
    parser.add_argument("folders", nargs="+", metavar="DIR", help="a folder <point>-<kind>[-N].<wav|flac>, or a job")
    parser.add_argument("--json", action="store_true", help="one JSON object a line instead of the table")
    parser.add_argument("--workers", type=_count, default=1, metavar="N", help="processes to use (default 1)")
    parser.add_argument("--channel", type=_channel, default=0, metavar="N", help="channel of the files, from 0")
    parser.add_argument("--cluster", metavar="ADDRESS", help="use the Dask cluster at this address (hissway[cluster])")


def _count(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 1024:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of processes, 1 to 1024")
    return int(text)


def _channel(text: str) -> int:
    if not text.isdigit() or int(text) > 255:
        raise argparse.ArgumentTypeError(f"{text!r} is not a channel, 0 to 255")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Judge and print; 1 where any round could not be judged."""
    from listen.cli.spread import spread

    failed = False
    for name, outcome in spread(_expand(args.folders), args.channel, args.workers, args.cluster):
        failed |= isinstance(outcome, str)
        _print(name, outcome, args.json)
    return int(failed)


def _expand(folders: list[str]) -> Iterator[tuple[str, Round | str]]:
    """Every round of every folder, or the sentence that says why there is none; nothing is read ahead."""
    from listen.errors import HisswayError
    from listen.rounds.loose import read_folder

    for name in folders:
        folder = Path(name)
        try:
            if _is_job(folder):
                yield from _rounds_of_job(folder, name)
            else:
                yield name, read_folder(folder, name)
        except HisswayError as e:
            yield name, str(e)


def _is_job(folder: Path) -> bool:
    from listen.jobs.folder.journal_file import JOURNAL

    try:
        return (folder / JOURNAL).is_file()
    except OSError:  # no permission, a name too long: reading it as a loose round says which
        return False


def _rounds_of_job(folder: Path, name: str) -> Iterator[tuple[str, Round | str]]:
    from listen.errors import HisswayError, RoundError
    from listen.jobs.folder.store import open_job
    from listen.jobs.to_round import to_round
    from listen.rounds.model import Round

    with open_job(folder, write=False) as opened:
        rounds = [r for r in opened.job.rounds if r.live_clips()]
        if not rounds:
            raise RoundError(f"{name}: this job holds no recorded round yet")
        for record in rounds:
            label = f"{name}#{record.id}"
            try:
                made = to_round(opened.job, record.id, folder)
                yield label, Round(label, made.takes, made.facts)
            except HisswayError as e:
                yield label, str(e)


def _print(name: str, outcome: RoundResult | str, as_json: bool) -> None:
    if as_json:
        import msgspec

        line = {"round": name, "error": outcome} if isinstance(outcome, str) else outcome
        print(msgspec.json.encode(line).decode(), flush=True)
    elif isinstance(outcome, str):
        print(f"hissway: {outcome}", file=sys.stderr, flush=True)
    else:
        from listen.cli.table import round_table

        print(round_table(outcome), flush=True)
