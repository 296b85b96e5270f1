"""Judging many rounds: here, over processes, or over a cluster; always in the order given, never all in memory."""

from __future__ import annotations

import os
import re
import warnings
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from listen.errors import HisswayError, UsageError

if TYPE_CHECKING:
    from listen.judge.result import RoundResult
    from listen.rounds.model import Round

ANSWER_S = 5
"""Longest wait for a scheduler; one that runs answers in a fraction of a second."""
UNUSED = r"\d+ tasks (have been successfully executed|which were still)"
"""How joblib's remark on results that nobody took begins."""
_ADDRESS = re.compile(r"(?:[a-z]+://)?(?:\[[0-9a-fA-F:.]+\]|[\w.-]+):\d{1,5}")


def judge_one(name: str, round_: Round | str, channel: int) -> tuple[str, RoundResult | str]:
    """Judge one round; a sentence instead of a result where it cannot be."""
    if isinstance(round_, str):
        return name, round_
    from listen.rounds.evaluate import evaluate

    try:
        return name, evaluate(round_, channel=channel)
    except HisswayError as e:
        return name, str(e)


def spread(
    rounds: Iterable[tuple[str, Round | str]], channel: int, workers: int, cluster: str | None
) -> Iterator[tuple[str, RoundResult | str]]:
    """Judge all rounds with so many processes, or on the Dask cluster at an address."""
    # One thread for each process's linear algebra: the matrices are 13 by 13, threads only get in each other's way.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    if cluster is not None:
        yield from _on_cluster(rounds, channel, cluster)
    elif workers == 1:
        for name, round_ in rounds:
            yield judge_one(name, round_, channel)
    else:
        yield from _parallel(rounds, channel, n_jobs=workers)


def _parallel(
    rounds: Iterable[tuple[str, Round | str]], channel: int, **how: Any
) -> Iterator[tuple[str, RoundResult | str]]:
    from joblib import Parallel, delayed

    # Whoever stops reading (| head, Ctrl-C) knows that work was left.
    warnings.filterwarnings("ignore", UNUSED, UserWarning, r"joblib\.")
    pool = Parallel(return_as="generator", **how)
    yield from pool(delayed(judge_one)(name, round_, channel) for name, round_ in rounds)


def _on_cluster(
    rounds: Iterable[tuple[str, Round | str]], channel: int, address: str
) -> Iterator[tuple[str, RoundResult | str]]:
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
