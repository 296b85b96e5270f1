"""Promises about time, tested on machines that may be busy."""

from __future__ import annotations

from collections.abc import Callable

TRIES = 3
"""One late trial may be the machine's; where so many are late in a row, we are."""


def in_time(trial: Callable[[], float], limit_s: float, afresh: Callable[[], None] = lambda: None) -> None:
    """``trial`` gives the seconds it took; a late one is tried again, after ``afresh``.

    What else the trial asserts holds every time.
    """
    took = [trial()]
    while took[-1] >= limit_s and len(took) < TRIES:
        afresh()
        took.append(trial())
    assert took[-1] < limit_s, f"seconds, trial by trial: {took}"
