"""Work over processes, in the order given, so that the figures do not depend on how many there are."""

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

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
