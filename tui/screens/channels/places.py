"""Which channel lies at which point, kept for the next cylinder: its neighbours' plug holes stand for this one's."""

from collections.abc import Sequence

NEIGHBOUR = "plug-hole-"


def for_these(kept: Sequence[str], points: Sequence[str]) -> tuple[str, ...]:
    """Places of an earlier cylinder as those of ``points``: the first neighbour's plug hole for the first, and so on.

    Empty where they do not cover just these points.
    """
    old = sorted({p for p in kept if p.startswith(NEIGHBOUR)}, key=_number)
    new = sorted((p for p in points if p.startswith(NEIGHBOUR)), key=_number)
    if len(old) != len(new):
        return ()
    moved = dict(zip(old, new, strict=True))
    found = tuple(moved.get(p, p) for p in kept)
    return found if {p for p in found if p} <= set(points) and any(found) else ()


def _number(point: str) -> int:
    return int(point.removeprefix(NEIGHBOUR))
