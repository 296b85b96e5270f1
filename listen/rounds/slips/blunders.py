"""Slips of the person recording that only the whole round shows, a row each.

Nothing may be named on a round that has one; the points concerned lose their air clips.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from listen.rounds.slips.copies import same_sound
from listen.rounds.slips.gain import other_gain
from listen.rounds.slips.labels import swapped_labels
from listen.rounds.slips.part_time import part_of_the_time
from listen.rounds.slips.quiet_air import quiet_with_air
from listen.rounds.slips.slip import Blunder, RoundClip, clips_of
from listen.signal.point import PointTakes
from listen.trade.points import Kind

FINDERS: tuple[Callable[[Sequence[RoundClip]], Blunder | None], ...] = (
    same_sound,
    swapped_labels,
    quiet_with_air,
    other_gain,
    part_of_the_time,
)


def blunders(points: Sequence[PointTakes]) -> tuple[Blunder, ...]:
    """Slips in a round; none in a clean one."""
    clips = clips_of(points)
    return tuple(b for find in FINDERS if (b := find(clips)) is not None)


def without(points: Sequence[PointTakes], found: Sequence[Blunder]) -> list[PointTakes]:
    """The same points with the flags, and without the air clips that can no longer be compared with anything."""
    out = []
    for p in points:
        flags = tuple(b.flag for b in found if p.point in b.points)
        kept = {k: t for k, t in p.takes.items() if not flags or k is not Kind.AIR}
        out.append(replace(p, flags=p.flags + flags, takes=kept) if flags else p)
    return out
