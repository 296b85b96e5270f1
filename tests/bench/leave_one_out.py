"""A constant fitted on all worlds but the one reported."""

from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

T = TypeVar("T")


def leave_one_out(
    rounds: Mapping[str, Sequence[T]],
    candidates: Sequence[float],
    loss: Callable[[float, T], float],
) -> dict[str, tuple[float, float]]:
    """For each world, the constant of least loss on all others, and the loss it then has there.

    Parameters
    ----------
    rounds
        By world, whatever a round is to the loss (for example :class:`~listen.bench.accuracy.measured.Measured`).
    candidates
        Values to choose from.
    loss
        Of one round under one value, for example the log loss of its forecast.
    """
    table = {
        world: [sum(loss(c, r) for r in group) / len(group) for c in candidates] for world, group in rounds.items()
    }
    out = {}
    for world in table:
        others = [sum(row[i] for w, row in table.items() if w != world) for i in range(len(candidates))]
        best = others.index(min(others))
        out[world] = (candidates[best], table[world][best])
    return out
