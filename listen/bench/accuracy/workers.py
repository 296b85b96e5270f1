"""Work over processes, in the order given, so that the figures do not depend on how many there are."""

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import TypeVar

import numpy as np

T = TypeVar("T")
R = TypeVar("R")


def pieces(total: int, count: int) -> list[int]:
    """``total`` split into at most ``count`` nearly equal parts, none empty."""
    count = max(1, min(count, total))
    return [total // count + (i < total % count) for i in range(count)]


def spread(work: Callable[[T], R], jobs: Iterable[T], workers: int) -> Sequence[R]:
    """``work`` on every job; here when one worker is asked for."""
    if workers == 1:
        return [work(job) for job in jobs]
    from joblib import Parallel, delayed

    return list(Parallel(n_jobs=workers)(delayed(work)(job) for job in jobs))


def repeated(
    draw: Callable[[np.random.Generator], R], times: int, seed: tuple[int, ...], chunks: int, workers: int
) -> list[R]:
    """What ``draw`` gives so many times, in pieces, each with a stream of its own after ``seed``."""
    jobs = [((*seed, c), each) for c, each in enumerate(pieces(times, chunks))]
    return [found for piece in spread(partial(_piece, draw), jobs, workers) for found in piece]


def _piece(draw: Callable[[np.random.Generator], R], job: tuple[tuple[int, ...], int]) -> list[R]:
    rng = np.random.default_rng(job[0])
    return [draw(rng) for _ in range(job[1])]
