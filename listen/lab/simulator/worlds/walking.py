"""The walk over the points as a timeline, and how the shop's sound moves while it lasts.

Level, colour and single bands wander as processes of their own over the minutes of the walk (Ornstein-Uhlenbeck: a
standard deviation and a time constant); all points share them but for a stated part. The sound cylinder was walked long
before.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.curves import THIRD_OCTAVES_HZ, curve
from listen.lab.simulator.scene import TakeSpec
from listen.lab.simulator.worlds.sounds import ripple
from listen.trade.points import Kind

BETWEEN_CLIPS_S = (4.0, 14.0)
SOUND_WALK_BEFORE_S = 1500.0
"""The sound cylinder's walk lay so long before this one."""


@dataclass(frozen=True, slots=True)
class Restless:
    """How the shop's sound moves."""

    level_db: float
    level_s: float
    colour_db: float = 0.0
    colour_s: float = 60.0
    own_share: float = 0.2
    """Part of the level's variance that each point has for itself."""
    bump_rate: float = 0.0
    """Chance that one third octave, by itself, is another in each clip (a fan, a tone's neighbourhood)."""
    bump_db: float = 0.0
    bumps_everywhere: bool = True
    """Whether such a band moves at all points of a stretch of the walk, or at one clip only."""


@dataclass(frozen=True, slots=True)
class Step:
    point: str
    kind: Kind
    order: int
    start_s: float


Walk = dict[str, list[tuple[Step, TakeSpec]]]


def steps(
    rng: np.random.Generator, points: Sequence[str], seconds: float, *, sound: bool, shut: bool, each_point: bool
) -> list[Step]:
    """The clips in the order taken: whole walks, or quiet, air, quiet at each point before the next."""
    how = rng.choice(["bracket", "one quiet", "two airs"], p=[0.78, 0.1, 0.12])
    kinds = [Kind.QUIET, Kind.AIR]
    if how == "two airs":
        kinds += [Kind.QUIET, Kind.AIR]
    if how != "one quiet":
        kinds.append(Kind.QUIET)
    if shut:
        kinds.insert(1, Kind.SHUT)
    turns = [(p, k) for p in points for k in kinds] if each_point else [(p, k) for k in kinds for p in points]
    if sound:
        turns = [(p, Kind.SOUND) for p in points] + turns
    out, now, count = [], -SOUND_WALK_BEFORE_S if sound else 0.0, dict[tuple[str, Kind], int]()
    for p, k in turns:
        if k != Kind.SOUND and now < 0:
            now = 0.0
        count[p, k] = count.get((p, k), 0) + 1
        out.append(Step(p, k, count[p, k], now))
        now += seconds + float(rng.uniform(*BETWEEN_CLIPS_S))
    return out


def wander(rng: np.random.Generator, times_s: NDArray[np.float64], sd: float, tau_s: float) -> NDArray[np.float64]:
    """An Ornstein-Uhlenbeck process at increasing times [shape=(n,)]."""
    x = np.empty(len(times_s))
    x[0] = rng.normal(0, sd)
    for i, gap in enumerate(np.diff(times_s), start=1):
        keep = np.exp(-gap / tau_s)
        x[i] = keep * x[i - 1] + np.sqrt(1 - keep**2) * rng.normal(0, sd)
    return x


def walk(rng: np.random.Generator, order: Sequence[Step], seconds: float, restless: Restless) -> Walk:
    """The clips with the drift each of them meets."""
    edges = np.array([t for s in order for t in (s.start_s, s.start_s + seconds)])
    shared = wander(rng, edges, restless.level_db * np.sqrt(1 - restless.own_share), restless.level_s)
    by_point = {
        p: wander(rng, edges, restless.level_db * np.sqrt(restless.own_share), restless.level_s)
        for p in {s.point: None for s in order}
    }
    bases = [ripple(rng, 1.0, 1.6) for _ in range(3)]
    colour = [wander(rng, edges[::2], restless.colour_db / np.sqrt(3), restless.colour_s) for _ in bases]
    bumps = _bumps(rng, order, restless)
    out: Walk = {}
    for i, step in enumerate(order):
        level = shared[2 * i : 2 * i + 2] + by_point[step.point][2 * i : 2 * i + 2]
        take = TakeSpec(
            kind=step.kind,
            order=step.order,
            seconds=seconds,
            drift_db=round(float(level.mean()), 3),
            ramp_db=round(float(level[1] - level[0]), 3),
            drift_curve=curve(sum(c[i] * b for c, b in zip(colour, bases, strict=True))),
            bumps=bumps[i],
        )
        out.setdefault(step.point, []).append((step, take))
    return out


def _bumps(
    rng: np.random.Generator, order: Sequence[Step], restless: Restless
) -> list[tuple[tuple[float, float], ...]]:
    out: list[list[tuple[float, float]]] = [[] for _ in order]
    for i in range(len(order)):
        if rng.random() < restless.bump_rate:
            length = int(rng.integers(2, 9)) if restless.bumps_everywhere else 1
            bump = (round(float(rng.choice(THIRD_OCTAVES_HZ)), 1), round(float(rng.normal(0, restless.bump_db)), 2))
            for later in out[i : i + length]:
                later.append(bump)
    return [tuple(b) for b in out]
