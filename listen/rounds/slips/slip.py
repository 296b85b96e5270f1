"""A slip of the person recording, and the clips it is looked for in."""

from collections.abc import Sequence
from dataclasses import dataclass

from listen.judge.result import Again
from listen.signal.clip_print import ClipPrint
from listen.signal.flags import Flag
from listen.signal.point import PointTakes
from listen.trade.points import Kind, point

STILL = (Kind.QUIET, Kind.SHUT)
"""Clips without air in the cylinder."""
ORDINALS = {1: "first", 2: "second", 3: "third"}


@dataclass(frozen=True, slots=True)
class Blunder:
    """What was found, and at which points."""

    flag: Flag
    points: tuple[str, ...]
    again: tuple[Again, ...] = ()
    """Clips to be recorded again; empty where it is not known which are wrong."""
    left_out: tuple[ClipPrint, ...] = ()
    """Clips that are left out where the rest of the round tells enough without them; a round is doubted else."""

    @classmethod
    def of(cls, flag: Flag, *clips: "RoundClip") -> "Blunder":
        """In these clips."""
        return cls(flag, tuple(dict.fromkeys(c.at for c in clips)), tuple(c.again for c in clips))


@dataclass(frozen=True, slots=True, eq=False)
class RoundClip:
    """One clip of a round by its marks."""

    at: str
    number: int
    """Place among the clips of its kind at its point."""
    mark: ClipPrint

    @property
    def kind_words(self) -> str:
        # Quiet clips stand before the air clip and behind it: which one it was has to be said.
        which = f"{ORDINALS.get(self.number, f'{self.number}th')} " if self.mark.kind is Kind.QUIET else ""
        return f"{which}{self.mark.kind}"

    @property
    def words(self) -> str:
        return f"the {self.kind_words} clip of the {point(self.at).words}"

    @property
    def again(self) -> Again:
        return Again(self.at, str(self.mark.kind), self.number)


def clips_of(points: Sequence[PointTakes]) -> list[RoundClip]:
    """All clips of a round that have marks, numbered within their point and kind."""
    clips = []
    for p in points:
        seen: dict[Kind, int] = {}
        for mark in p.prints:
            seen[mark.kind] = seen.get(mark.kind, 0) + 1
            clips.append(RoundClip(p.point, seen[mark.kind], mark))
    return clips
