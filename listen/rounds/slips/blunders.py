"""Slips of the person recording that only the whole round shows, a row each.

Nothing may be named on a round that has one, and the points concerned lose their air clips; unless it is one clip that
the round can do without, which is left out.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from listen.rounds.slips.copies import same_sound
from listen.rounds.slips.gain import other_gain
from listen.rounds.slips.labels import swapped_labels
from listen.rounds.slips.quiet_air import quiet_with_air
from listen.rounds.slips.slip import Blunder, RoundClip, clips_of
from listen.signal.point import PointTakes
from listen.trade.points import Kind

FINDERS: tuple[Callable[[Sequence[RoundClip]], Blunder | None], ...] = (
    same_sound,
    swapped_labels,
    quiet_with_air,
    other_gain,
)


def blunders(points: Sequence[PointTakes]) -> tuple[Blunder, ...]:
    """Slips in a round; none in a clean one."""
    clips = clips_of(points)
    out: list[Blunder] = []
    for find in FINDERS:
        while (found := find(clips)) is not None:
            out.append(found)
            if not found.left_out:
                # One of a kind is enough to doubt the round.
                break
            # Once more without it: a street has more than one car.
            clips = [c for c in clips if not any(c.mark is one for one in found.left_out)]
    return tuple(out)


def without(points: Sequence[PointTakes], found: Sequence[Blunder]) -> list[PointTakes]:
    """The same points with the flags, and without the air clips that can no longer be compared with anything."""
    out = []
    for p in points:
        here = [b for b in found if p.point in b.points]
        if left_out := [c for b in here for c in b.left_out]:
            p = p.without(left_out)
        if here:
            p = replace(p, flags=p.flags + tuple(b.flag for b in here))
        if any(not b.left_out for b in here):
            p = replace(p, takes={k: t for k, t in p.takes.items() if k is not Kind.AIR})
        out.append(p)
    return out
