"""``hissway rank``: judge any number of loose rounds or job folders, one result each, in the order given."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from listen.errors import MAX_WORDS
from listen.voice.text import json_line, plain
from listen.whole_number import whole

if TYPE_CHECKING:
    from listen.judge.result import RoundResult
    from listen.rounds.model import Round

SUMMARY = "excess per point, odds per path and verdict for rounds of sound files or for jobs"
EXAMPLE = "hissway rank cylinder-3 cylinder-4 --json"

_PROCESSES = whole(1, 1024, "a number of processes")
_CHANNEL = whole(0, 255, "a channel")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folders", nargs="+", metavar="DIR", help="a folder <point>-<kind>[-N].<wav|flac>, or a job")
    parser.add_argument("--json", action="store_true", help="one JSON object a line instead of the table")
    parser.add_argument("--workers", type=_PROCESSES, default=1, metavar="N", help="processes to use (default 1)")
    parser.add_argument("--channel", type=_CHANNEL, default=0, metavar="N", help="channel of the files, from 0")
    parser.add_argument("--cluster", metavar="ADDRESS", help="use the Dask cluster at this address (hissway[cluster])")


def run(args: argparse.Namespace) -> int:
    """Judge and print; 1 where any round could not be judged."""
    from listen.cli.spread import spread

    failed = False
    for name, outcome in spread(_expand(args.folders), args.channel, args.workers, args.cluster):
        if isinstance(outcome, str):
            failed, outcome = True, _with_name(plain(name), outcome)
        _print(name, outcome, args.json)
    return int(failed)


def _expand(folders: list[str]) -> Iterator[tuple[str, Round | str]]:
    """Every round of every folder, or the sentence that says why there is none; nothing is read ahead."""
    from listen.errors import HisswayError
    from listen.rounds.loose import read_folder

    for given in folders:
        folder = Path(given)
        name = given.encode("utf-8", "backslashreplace").decode()  # JSON takes no half characters
        try:
            if _is_job(folder):
                yield from _rounds_of_job(folder, name)
            else:
                round_ = read_folder(folder, name)
                _note_stray_keys(folder / "round.json", name)
                yield name, round_
        except HisswayError as e:
            yield name, str(e)


def _note_stray_keys(path: Path, name: str) -> None:
    from listen.rounds.loose import KNOWN_KEYS, stray_keys

    if stray := stray_keys(path):
        known = " ".join(KNOWN_KEYS)
        note = f"note: {name}: round.json: not known and not used: {' '.join(stray)}; known are {known}"
        print(plain(note), file=sys.stderr, flush=True)


def _is_job(folder: Path) -> bool:
    from listen.jobs.folder.chain import JOURNAL

    try:
        return (folder / JOURNAL).is_file()
    except OSError:  # no permission, a name too long: reading it as a loose round says which
        return False


def _rounds_of_job(folder: Path, name: str) -> Iterator[tuple[str, Round | str]]:
    from listen.errors import HisswayError, RoundError
    from listen.jobs.folder.store import open_job
    from listen.jobs.teardowns import with_teardowns
    from listen.jobs.to_round import to_round

    with open_job(folder, write=False) as opened:
        if opened.broken:
            yield name, opened.broken
        rounds = [r for r in opened.job.rounds if r.live_clips()]
        if not rounds and not opened.broken:
            raise RoundError(f"{name}: this job holds no recorded round yet")
        for record in rounds:
            label = f"{name}#{record.id}"
            try:
                made = to_round(opened.job, record.id, folder)
                yield label, replace(with_teardowns(made, opened.job, folder.absolute().parent), name=label)
            except HisswayError as e:
                yield label, str(e)


def _print(name: str, outcome: RoundResult | str, as_json: bool) -> None:
    if as_json:
        line = {"round": name, "error": outcome} if isinstance(outcome, str) else outcome
        print(json_line(line), flush=True)
    elif isinstance(outcome, str):
        print(f"hissway: {plain(outcome, MAX_WORDS)}", file=sys.stderr, flush=True)
    else:
        from listen.cli.table import round_table

        print(round_table(outcome), flush=True)


def _with_name(name: str, sentence: str) -> str:
    """The sentence, beginning with the round it is about."""
    begins = sentence.startswith(name.rstrip("/")) and not sentence[len(name.rstrip("/")) :][:1].isalnum()
    return sentence if begins else f"{name}: {sentence}"
