"""One forecast on one round beside its truth: what a contender said, in the form all contenders are scored in."""

from collections.abc import Mapping
from dataclasses import dataclass

from listen.judge.hypotheses import LEAKS
from listen.judge.verdict import NAME_AT
from listen.trade.points import PathId

SOUND = str(PathId.NONE)
LEAK_PATHS = frozenset(map(str, LEAKS))
"""What counts as a call on a sound cylinder; "fitting" and "set-up" send nobody for spanners."""
ALL_PATHS = tuple(map(str, PathId))


@dataclass(frozen=True, slots=True)
class Forecast:
    """What one contender says of one round."""

    truth: frozenset[str]
    """Paths truly at work; ``none`` alone for a sound cylinder."""
    share: Mapping[str, float]
    """Probability that each path is what is wrong, a pair's mass shared; sums to 1."""
    involved: Mapping[str, float]
    """Probability that each path is at work at all."""
    named: tuple[str, ...]
    """Paths named; empty: cannot tell."""
    background: str
    """Shop or recording."""
    stated: float = 0.0
    """Odds stated with the names."""
    helped: bool = False
    """Whether a sound cylinder's clips and a loss reading were there."""

    @property
    def right(self) -> bool:
        """Whether every path named is truly there."""
        return bool(self.named) and set(self.named) <= self.truth

    @property
    def called_leak(self) -> bool:
        """Whether an escape path was named."""
        return any(p in LEAK_PATHS for p in self.named)

    @property
    def top(self) -> tuple[float, bool]:
        """Odds of the path most likely involved, and whether it is."""
        path = max(ALL_PATHS, key=lambda p: self.involved.get(p, 0.0))
        return self.involved.get(path, 0.0), path in self.truth

    @property
    def truth_label(self) -> str:
        """Row of the break-down this round belongs to."""
        return "pair" if len(self.truth) > 1 else next(iter(self.truth))


def earned(involved: Mapping[str, float]) -> tuple[str, ...]:
    """Paths whose odds of being involved have earned their name."""
    return tuple(p for p in ALL_PATHS if involved.get(p, 0.0) >= NAME_AT)
