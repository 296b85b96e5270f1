"""What goes wrong in a shop while somebody listens: each changes the clips it falls on.

Most of them sound in one clip only, or from a moment on, so that quiet and air clips differ without any leak.
"""

from collections.abc import Callable, Mapping

import msgspec
import numpy as np

from listen.lab.simulator.curves import FLAT, OCTAVES, Curve, curve
from listen.lab.simulator.scene import Part
from listen.lab.simulator.worlds.sounds import ripple
from listen.lab.simulator.worlds.walking import Walk

Mishap = Callable[[np.random.Generator, Walk], Walk]


def _part(kind: str, level_db: float, numbers: Mapping[str, float], shape: Curve = FLAT) -> Part:
    rounded = {k: round(float(v), 4) for k, v in numbers.items()}
    return Part(kind=kind, level_db=round(level_db, 2), numbers=rounded, curve=shape)


def _span(rng: np.random.Generator) -> dict[str, float]:
    start = rng.uniform(-0.3, 0.7)
    return {"from": max(0.0, start), "to": min(1.0, start + rng.uniform(0.25, 0.9))}


def _in_order(walk: Walk) -> list[tuple[str, int]]:
    """Every clip as (point, place at the point), in the order taken."""
    every = [(step.start_s, p, i) for p, takes in walk.items() for i, (step, _) in enumerate(takes)]
    return [(p, i) for _, p, i in sorted(every)]


def _changed(walk: Walk, change: Mapping[tuple[str, int], Mapping[str, object]]) -> Walk:
    out: Walk = {}
    for p, takes in walk.items():
        out[p] = [(s, msgspec.structs.replace(t, **change.get((p, i), {}))) for i, (s, t) in enumerate(takes)]
    return out


def _add(walk: Walk, also: Mapping[tuple[str, int], Part]) -> Walk:
    takes = {(p, i): t for p, every in walk.items() for i, (_, t) in enumerate(every)}
    return _changed(walk, {key: {"also": (*takes[key].also, part)} for key, part in also.items()})


def air_tool(rng: np.random.Generator, walk: Walk) -> Walk:
    """A neighbour blows something off or runs an air tool, in one to three clips and only for a part of each."""
    clips = _in_order(walk)
    first = int(rng.integers(len(clips)))
    shape = curve(rng.uniform(-1, 4) * OCTAVES + ripple(rng, 3.0))
    level = rng.uniform(-22, 2)
    hit = clips[first : first + int(rng.integers(1, 4))]
    return _add(walk, {at: _part("noise", level, _span(rng), shape) for at in hit})


def compressor(rng: np.random.Generator, walk: Walk) -> Walk:
    """The shop's compressor starts during one clip and runs on."""
    clips = _in_order(walk)
    first = int(rng.integers(1, len(clips)))
    shape, level = curve(rng.uniform(-5, -2) * OCTAVES + ripple(rng, 2.0)), rng.uniform(-10, 5)
    beat = {"rate_hz": rng.uniform(8, 20), "depth": rng.uniform(0.2, 0.6)}
    hit = {at: _part("throb", level, beat, shape) for at in clips[first:]}
    start = _part("throb", level, {**beat, "from": rng.uniform(0.1, 0.8)}, shape)
    return _add(walk, {**hit, clips[first]: start})


def hose_leak(rng: np.random.Generator, walk: Walk) -> Walk:
    """A leak in the shop's own air line: hisses from some clip on, also with no air in the cylinder."""
    clips = _in_order(walk)
    first = int(rng.integers(0, len(clips)))
    shape, level = curve(rng.uniform(1, 5) * OCTAVES + ripple(rng, 3.0)), rng.uniform(-25, -6)
    return _add(walk, {at: _part("noise", level + rng.normal(0, 2), {}, shape) for at in clips[first:]})


def rain(rng: np.random.Generator, walk: Walk) -> Walk:
    """Rain on the roof grows or fades over the walk."""
    clips = _in_order(walk)
    shape = curve(rng.uniform(-2, 1) * OCTAVES + ripple(rng, 1.5))
    level = rng.uniform(-24, -6) + np.linspace(0, rng.normal(0, 6), len(clips))
    return _add(walk, {at: _part("noise", float(x), {}, shape) for at, x in zip(clips, level, strict=True)})


def gusts(rng: np.random.Generator, walk: Walk) -> Walk:
    """Wind at the tailpipe, another in every clip there."""
    shape = curve(rng.uniform(-7, -4) * OCTAVES)
    hit = [at for at in _in_order(walk) if at[0].startswith("tailpipe")]
    return _add(walk, {at: _part("noise", rng.uniform(-12, 14), _span(rng), shape) for at in hit})


def other_gain(rng: np.random.Generator, walk: Walk) -> Walk:
    """Somebody touches the input gain before one clip and turns it back after."""
    clips = _in_order(walk)
    at = clips[int(rng.integers(len(clips)))]
    return _changed(walk, {at: {"gain_db": round(float(rng.choice([-1, 1]) * rng.uniform(2, 12)), 2)}})


def knocks(rng: np.random.Generator, walk: Walk) -> Walk:
    """Dropped tools and ratchets in some clips."""
    hit = [at for at in _in_order(walk) if rng.random() < 0.3]
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
    """Perhaps one mishap; its name, or nothing."""
    if rng.random() >= share:
        return walk, ""
    name = str(rng.choice(list(MISHAPS)))
    return MISHAPS[name](rng, walk), name
