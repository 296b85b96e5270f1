"""The walk over the points as a timeline, and how the shop's sound moves while it lasts;
and what goes wrong meanwhile: each mishap changes the clips it falls on, most of them one only, or all from a moment
on, so that quiet and air clips differ without any leak.

Level, colour and single bands wander as processes of their own over the minutes of the walk (Ornstein-Uhlenbeck: a
standard deviation and a time constant); all points share them but for a stated part. The sound cylinder was walked long
before.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace

from listen.lab.simulator.curves import FLAT, OCTAVES, THIRD_OCTAVES_HZ, Curve, curve
from listen.lab.simulator.noises import wander
from listen.lab.simulator.scene import Part, TakeSpec
from listen.lab.simulator.worlds.sounds import ripple
from listen.trade.points import Kind

BETWEEN_CLIPS_S = (4.0, 14.0)
SOUND_WALK_BEFORE_S = 1500.0
"""The sound cylinder's walk lay so long before this one."""


@dataclass(frozen=True, slots=True)
class Restless:
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
    by_clip: bool = False
    """Whether every clip has a level and colour of its own that hold while it lasts, whatever came before."""


def own_drift(level_db: float) -> Restless:
    """Each clip's own drift, a part of it in the colour."""
    return Restless(level_db=level_db, level_s=AT_ONCE_S, colour_db=0.4 * level_db, colour_s=AT_ONCE_S, by_clip=True)


AT_ONCE_S = 1e-3
"""Time constant of what has nothing to do with the clip before."""


@dataclass(frozen=True, slots=True)
class Step:
    point: str
    kind: Kind
    order: int
    start_s: float


Walk = list[tuple[str, TakeSpec]]
"""Every clip with its point, in the order taken."""


def kinds_walked(rng: np.random.Generator, *, sound: bool, shut: bool) -> tuple[Kind, ...]:
    """The takes at a point in order: most rounds are closed by a quiet walk, some have none or a second air walk."""
    how = rng.choice(["bracket", "one quiet", "two airs"], p=[0.78, 0.1, 0.12])
    kinds = [Kind.SOUND] * sound + [Kind.QUIET] + [Kind.SHUT] * shut + [Kind.AIR]
    if how == "two airs":
        kinds += [Kind.QUIET, Kind.AIR]
    if how != "one quiet":
        kinds.append(Kind.QUIET)
    return tuple(kinds)


def steps(
    rng: np.random.Generator, points: Sequence[str], kinds: Sequence[Kind], seconds: float, *, each_point: bool
) -> list[Step]:
    """The clips in the order taken: whole walks, or all of a point before the next; the sound cylinder's first."""
    sound = [k for k in kinds if k == Kind.SOUND]
    own = [k for k in kinds if k != Kind.SOUND]
    turns: list[tuple[str, Kind]] = [(p, k) for k in sound for p in points]
    turns += [(p, k) for p in points for k in own] if each_point else [(p, k) for k in own for p in points]
    out, now, count = [], -SOUND_WALK_BEFORE_S if sound else 0.0, dict[tuple[str, Kind], int]()
    for p, k in turns:
        # The round itself begins at nought, however long the sound cylinder's walk took.
        if k != Kind.SOUND and now < 0:
            now = 0.0
        count[p, k] = count.get((p, k), 0) + 1
        out.append(Step(p, k, count[p, k], now))
        now += seconds + float(rng.uniform(*BETWEEN_CLIPS_S))
    return out


def walk(rng: np.random.Generator, order: Sequence[Step], seconds: float, restless: Restless) -> Walk:
    # Level at both ends of each clip, for what drifts within it; colour at its beginning alone.
    edges = np.array([t for s in order for t in (s.start_s, s.start_s + seconds)])
    # The share is of variance, a wander takes a deviation: hence the roots.
    shared = wander(rng, edges, restless.level_db * np.sqrt(1 - restless.own_share), restless.level_s)
    # The points in the order walked: a set's own order would draw other numbers in every run.
    by_point = {
        p: wander(rng, edges, restless.level_db * np.sqrt(restless.own_share), restless.level_s)
        for p in {s.point: None for s in order}
    }
    bases = [ripple(rng, 1.0, 1.6) for _ in range(3)]
    # Three ripples of unit spread make up the whole colour's.
    colour = [wander(rng, edges[::2], restless.colour_db / np.sqrt(3), restless.colour_s) for _ in bases]
    bumps = _bumps(rng, order, restless)
    out: Walk = []
    for i, step in enumerate(order):
        level = shared[2 * i : 2 * i + 2] + by_point[step.point][2 * i : 2 * i + 2]
        if restless.by_clip:
            level[1] = level[0]
        take = TakeSpec(
            kind=step.kind,
            order=step.order,
            seconds=seconds,
            drift_db=round(float(level.mean()), 3),
            ramp_db=round(float(level[1] - level[0]), 3),
            drift_curve=curve(sum(c[i] * b for c, b in zip(colour, bases, strict=True))),
            bumps=bumps[i],
        )
        out.append((step.point, take))
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


Mishap = Callable[[np.random.Generator, Walk], Walk]


def _part(kind: str, level_db: float, numbers: Mapping[str, float], shape: Curve = FLAT) -> Part:
    rounded = {k: round(float(v), 4) for k, v in numbers.items()}
    return Part(kind=kind, level_db=round(level_db, 2), numbers=rounded, curve=shape)


def _span(rng: np.random.Generator) -> dict[str, float]:
    # In three of ten it sounds already when the clip begins.
    start = rng.uniform(-0.3, 0.7)
    return {"from": max(0.0, start), "to": min(1.0, start + rng.uniform(0.25, 0.9))}


def _add(walk: Walk, also: Mapping[int, Part]) -> Walk:
    return [(p, replace(t, also=(*t.also, also[i])) if i in also else t) for i, (p, t) in enumerate(walk)]


def air_tool(rng: np.random.Generator, walk: Walk) -> Walk:
    """A neighbour blows something off or runs an air tool, in one to three clips and only for a part of each."""
    first = int(rng.integers(len(walk)))
    shape = curve(rng.uniform(-1, 4) * OCTAVES + ripple(rng, 3.0))
    level = rng.uniform(-22, 2)
    hit = range(len(walk))[first : first + int(rng.integers(1, 4))]
    return _add(walk, {at: _part("noise", level, _span(rng), shape) for at in hit})


def compressor(rng: np.random.Generator, walk: Walk) -> Walk:
    """The shop's compressor starts during one clip and runs on."""
    first = int(rng.integers(1, len(walk)))
    shape, level = curve(rng.uniform(-5, -2) * OCTAVES + ripple(rng, 2.0)), rng.uniform(-10, 5)
    beat = {"rate_hz": rng.uniform(8, 20), "depth": rng.uniform(0.2, 0.6)}
    start = _part("throb", level, {**beat, "from": rng.uniform(0.1, 0.8)}, shape)
    after = {at: _part("throb", level, beat, shape) for at in range(first + 1, len(walk))}
    return _add(walk, {first: start, **after})


def hose_leak(rng: np.random.Generator, walk: Walk) -> Walk:
    """A leak in the shop's own air line: hisses from some clip on, also with no air in the cylinder."""
    first = int(rng.integers(0, len(walk)))
    shape, level = curve(rng.uniform(1, 5) * OCTAVES + ripple(rng, 3.0)), rng.uniform(-25, -6)
    return _add(walk, {at: _part("noise", level + rng.normal(0, 2), {}, shape) for at in range(first, len(walk))})


def rain(rng: np.random.Generator, walk: Walk) -> Walk:
    """Rain on the roof grows or fades over the walk."""
    shape = curve(rng.uniform(-2, 1) * OCTAVES + ripple(rng, 1.5))
    level = rng.uniform(-24, -6) + np.linspace(0, rng.normal(0, 6), len(walk))
    return _add(walk, {at: _part("noise", float(x), {}, shape) for at, x in enumerate(level)})


def gusts(rng: np.random.Generator, walk: Walk) -> Walk:
    """Wind at the tailpipe, another in every clip there."""
    shape = curve(rng.uniform(-7, -4) * OCTAVES)
    hit = [at for at, (point, _) in enumerate(walk) if point.startswith("tailpipe")]
    return _add(walk, {at: _part("noise", rng.uniform(-12, 14), _span(rng), shape) for at in hit})


def other_gain(rng: np.random.Generator, walk: Walk) -> Walk:
    """Somebody touches the input gain before one clip and turns it back after."""
    at = int(rng.integers(len(walk)))
    point, take = walk[at]
    touched = replace(take, gain_db=round(float(rng.choice([-1, 1]) * rng.uniform(2, 12)), 2))
    return [*walk[:at], (point, touched), *walk[at + 1 :]]


def knocks(rng: np.random.Generator, walk: Walk) -> Walk:
    """Dropped tools and ratchets in some clips."""
    hit = [at for at in range(len(walk)) if rng.random() < 0.3]
    level = rng.uniform(8, 26)
    return _add(walk, {at: _part("clanks", level, {"per_s": rng.uniform(0.3, 2.0)}) for at in hit})


MISHAPS: dict[str, Mishap] = {
    "air tool": air_tool,
    "compressor": compressor,
    "hose leak": hose_leak,
    "rain": rain,
    "gusts": gusts,
    "other gain": other_gain,
    "knocks": knocks,
}


def befall(rng: np.random.Generator, walk: Walk, share: float) -> tuple[Walk, str]:
    if rng.random() >= share:
        return walk, ""
    name = str(rng.choice(list(MISHAPS)))
    return MISHAPS[name](rng, walk), name
