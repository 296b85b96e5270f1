"""What the judge is given: a likelihood over hiss levels for each point, bubble counts, and readings."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from listen.judge.result import ShopSeen
from listen.judge.taught import Trees
from listen.trade.points import PathId, Point
from listen.trade.transfer import OpenValve


# eq=False here and wherever arrays are held: two arrays compare element by element, which is no yes or no.
@dataclass(frozen=True, slots=True, eq=False)
class PointEvidence:
    """One point's say on how loud the air is there."""

    point: Point
    air: NDArray[np.float64] | None
    """Log likelihood of the air clip over states of the shared drift and ``loudness.LEVELS_DB`` [shape=(X, N)]."""
    sound: NDArray[np.float64] | None = None
    """The same for a sound cylinder's clip, drift summed over [shape=(N,)]."""
    learnt: NDArray[np.float64] | None = None
    """Likelihood of each level for this point's blow-by, from the engine's other cylinders [shape=(N,)]."""
    in_events: bool = False
    """True where the increase is not steady, as escaping air is, but came in events (spectral kurtosis)."""
    switched: bool = False
    """True where the air went on and off at a standing microphone: what else sounds does not follow it."""
    clipped: bool = False
    """The only air clip is clipped: the air is at least so loud, and ``air`` knows no upper end."""
    whistle_db: float | None = None
    """Level of the strongest tone that comes with the air and that no other path's point has, dB re full scale."""


@dataclass(frozen=True, slots=True)
class Bubbles:
    """Bubble events counted, air off and air on, with the time each was counted over."""

    quiet: int
    quiet_s: float
    air: int
    air_s: float


@dataclass(frozen=True, slots=True)
class Readings:
    """Numbers read beside the clips; ``None`` where not read."""

    loss_percent: float | None = None
    loss_others_percent: float | None = None
    """Typical loss of the engine's other cylinders, same tester."""
    restrictor_mm: float | None = None
    supply_kpa: float | None = None
    compression_dry_kpa: float | None = None
    compression_wet_kpa: float | None = None
    bubbles_seen: bool | None = None
    top_found_again: bool | None = None
    """The crank was turned over and top dead centre found anew; True where the loss stayed as it was."""
    valves: Mapping[int, OpenValve | None] = field(default_factory=dict)
    """Which valve of each other cylinder stands open, from the firing order; empty where not known."""


@dataclass(frozen=True, slots=True, eq=False)
class RoundEvidence:
    """All that a round gives the judge."""

    points: tuple[PointEvidence, ...]
    """In walking order."""
    bubbles: Bubbles | None
    readings: Readings
    shut_heard: bool | None = None
    """Air was heard with the cylinder side shut off; None where no such clips were taken."""
    # One state of probability 1 unless told otherwise: no drift is shared.
    states: NDArray[np.float64] = field(default_factory=lambda: np.zeros(1))
    """Log probability of each state of the drift that points share [shape=(X,)]."""
    zero_dbfs: float = 0.0
    """Level 0 dB, re full scale."""
    shop: ShopSeen | None = None
    taught: Trees | None = None
    """What rounds of known cause taught; None: the judge's own model alone."""

    def alone(self) -> Self:
        """The same without what was learnt from other cylinders."""
        return replace(self, points=tuple(replace(p, learnt=None) for p in self.points))

    def hears(self, path: PathId) -> bool:
        """Whether a point was recorded at which this path speaks first."""
        return any(path in p.point.row.own for p in self.points)
