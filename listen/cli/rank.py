"""``hissway rank``: judge any number of loose rounds or job folders, one result each, in the order given; here, over
processes or over a cluster, never all in memory."""

import argparse
import re
import sys
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from listen.cli.table import round_table
from listen.errors import MAX_WORDS, HisswayError, RoundError, UsageError
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.store import open_job
from listen.jobs.teardowns import with_teardowns
from listen.jobs.to_round import to_round
from listen.judge.result import RoundResult
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import KNOWN_KEYS, read_folder, stray_keys
from listen.rounds.model import Round
from listen.voice.text import json_line, plain

Given = Iterable[tuple[str, Round | str]]
"""Rounds by name, or the sentence that says why one is none."""
Judged = Iterator[tuple[str, RoundResult | str]]


def run(args: argparse.Namespace) -> int:
    failed = False
    for name, outcome in spread(_expand(args.folders), args.channel, args.workers, args.cluster):
        if isinstance(outcome, str):
            failed, label = True, plain(name).rstrip("/")
            # The sentence begins with the round it is about, unless it does already.
            begins = outcome.startswith(label) and not outcome[len(label) :][:1].isalnum()
            outcome = outcome if begins else f"{plain(name)}: {outcome}"
        _print(name, outcome, args.json)
    return int(failed)


def _expand(folders: list[str]) -> Iterator[tuple[str, Round | str]]:
    """Every round of every folder, or the sentence that says why there is none; nothing is read ahead."""
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
    if stray := stray_keys(path):
        known = " ".join(KNOWN_KEYS)
        note = f"note: {name}: round.json: not known and not used: {' '.join(stray)}; known are {known}"
        print(plain(note), file=sys.stderr, flush=True)


def _is_job(folder: Path) -> bool:
    try:
        return (folder / JOURNAL).is_file()
    except OSError:  # no permission, a name too long: reading it as a loose round says which
        return False


def _rounds_of_job(folder: Path, name: str) -> Iterator[tuple[str, Round | str]]:
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
        # At once: whoever reads the pipe gets each round as it is judged.
        print(json_line(line), flush=True)
    elif isinstance(outcome, str):
        print(f"hissway: {plain(outcome, MAX_WORDS)}", file=sys.stderr, flush=True)
    else:
        print(round_table(outcome), flush=True)


ANSWER_S = 5
"""Longest wait for a scheduler; one that runs answers in a fraction of a second."""
UNUSED = r"\d+ tasks (have been successfully executed|which were still)"
"""How joblib's remark on results that nobody took begins."""
_ADDRESS = re.compile(r"(?:[a-z]+://)?(?:\[[0-9a-fA-F:.]+\]|[\w.-]+):\d{1,5}")


def judge_one(name: str, round_: Round | str, channel: int) -> tuple[str, RoundResult | str]:
    """Judge one round; a sentence instead of a result where it cannot be."""
    if isinstance(round_, str):
        return name, round_
    try:
        return name, evaluate(round_, channel=channel)
    except HisswayError as e:
        return name, str(e)


def spread(rounds: Given, channel: int, workers: int, cluster: str | None) -> Judged:
    """Judge all rounds with so many processes, or on the Dask cluster at an address."""
    if cluster is not None:
        yield from _on_cluster(rounds, channel, cluster)
    elif workers == 1:
        # Here: another process would load everything once more before the first round.
        for name, round_ in rounds:
            yield judge_one(name, round_, channel)
    else:
        yield from _parallel(rounds, channel, n_jobs=workers)


def _parallel(rounds: Given, channel: int, **how: Any) -> Judged:
    from joblib import Parallel, delayed

    # Whoever stops reading (| head, Ctrl-C) knows that work was left.
    warnings.filterwarnings("ignore", UNUSED, UserWarning, r"joblib\.")
    pool = Parallel(return_as="generator", **how)
    yield from pool(delayed(judge_one)(name, round_, channel) for name, round_ in rounds)


def _on_cluster(rounds: Given, channel: int, address: str) -> Judged:
    try:
        from dask.distributed import Client
    except ImportError as e:
        raise UsageError("--cluster needs Dask; install it with: pip install 'hissway[cluster]'") from e
    from joblib import parallel_config

    if not _ADDRESS.fullmatch(address):
        raise UsageError(f"{address!r} is not the address of a Dask scheduler; give one like tcp://host:8786")
    try:
        client = Client(address, timeout=ANSWER_S, set_as_default=True)
    except (OSError, ValueError, TimeoutError) as e:
        raise UsageError(f"no Dask scheduler answers at {address!r} within {ANSWER_S} s; is it running there?") from e
    with client, parallel_config(backend="dask"):
        yield from _parallel(rounds, channel)
