"""Slips of whoever records, made on purpose: each turns a clean round into one that must not be called wrongly."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.render import TakeKey, render
from listen.lab.simulator.scene import Part, PointSpec, RoundSpec, TakeSpec
from listen.signal.clip import Clip
from listen.trade.points import Kind

Clips = dict[TakeKey, Clip]


def _keys(clips: Mapping[TakeKey, Clip], *kinds: Kind) -> list[TakeKey]:
    return [key for key in clips if key[1] in kinds]


def _with_takes(spec: RoundSpec, change: Callable[[PointSpec, TakeSpec], Mapping[str, object]]) -> RoundSpec:
    points = []
    for p in spec.points:
        takes = tuple(msgspec.structs.replace(t, **change(p, t)) for t in p.takes)
        points.append(msgspec.structs.replace(p, takes=takes))
    return msgspec.structs.replace(spec, points=tuple(points))


_LAST: dict[str, tuple[RoundSpec, Clips]] = {}


def clean(spec: RoundSpec) -> Clips:
    """The round as it is; the last one is kept, since several slips change only what stands under which label."""
    if "round" not in _LAST or _LAST["round"][0] is not spec:
        _LAST["round"] = (spec, render(spec))
    return dict(_LAST["round"][1])


def copied(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """One recording stored under two labels, as it is, quieter, offset, cut, or coded again."""
    clips = clean(spec)
    one, other = (
        _keys(clips, Kind.QUIET, Kind.AIR)[i]
        for i in rng.choice(len(_keys(clips, Kind.QUIET, Kind.AIR)), 2, replace=False)
    )
    x = clips[one].samples
    cut = int(rng.uniform(0.02, 0.3) * clips[one].rate_hz)
    changed: NDArray[np.float32] = (
        x,
        np.asarray(x * rng.uniform(0.3, 0.95), dtype=np.float32),
        np.asarray(x + 0.002, dtype=np.float32),
        x[cut:],
        np.asarray(np.rint(x * 2**12) / 2**12, dtype=np.float32),
    )[int(rng.integers(5))]
    clips[other] = Clip.of(changed, clips[one].rate_hz, device=clips[one].device, name=clips[other].name)
    return clips


def swapped(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """The air or quiet clips of two points under each other's labels."""
    clips = clean(spec)
    kind = Kind.AIR if rng.random() < 0.7 else Kind.QUIET
    points = list(dict.fromkeys(key[0] for key in _keys(clips, kind)))
    a, b = (points[i] for i in rng.choice(len(points), 2, replace=False))
    clips[a, kind, 1], clips[b, kind, 1] = clips[b, kind, 1], clips[a, kind, 1]
    return clips


def swapped_throughout(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """Two points under each other's labels in the quiet and air walks; only the sound cylinder's are as labelled."""
    clips = clean(spec)
    a, b = (str(p) for p in rng.choice([p.point for p in spec.points], 2, replace=False))
    for name, kind, number in _keys(clips, Kind.QUIET, Kind.AIR, Kind.SHUT):
        if name == a:
            one, other = (a, kind, number), (b, kind, number)
            clips[one], clips[other] = clips[other], clips[one]
    return clips


def air_off(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """The supply was never opened."""
    return render(_with_takes(spec, lambda p, t: {"pressurised": False}))


def air_on(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """The air was on already during the first quiet walk."""
    return render(_with_takes(spec, lambda p, t: {"pressurised": True} if (t.kind, t.order) == (Kind.QUIET, 1) else {}))


def other_gain(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """The input gain was another in one clip."""
    every = [(p.point, t.kind, t.order) for p in spec.points for t in p.takes if t.kind in (Kind.QUIET, Kind.AIR)]
    chosen = every[int(rng.integers(len(every)))]
    gain_db = float(rng.choice([-1, 1]) * rng.uniform(3, 12))
    return render(_with_takes(spec, lambda p, t: {"gain_db": gain_db} if (p.point, t.kind, t.order) == chosen else {}))


def part_of_the_time(rng: np.random.Generator, spec: RoundSpec) -> Clips:
    """Somebody blows a part off while one air clip is taken, for a third to two thirds of it."""
    airs = [p.point for p in spec.points for t in p.takes if t.kind is Kind.AIR]
    at = airs[int(rng.integers(len(airs)))]
    start = float(rng.uniform(0.0, 0.5))
    numbers = {"from": start, "to": start + float(rng.uniform(0.3, 0.5))}
    shape = curve(rng.uniform(0, 5) * OCTAVES)
    part = Part(kind="noise", level_db=float(rng.uniform(-8, 8)), curve=shape, numbers=numbers)
    return render(
        _with_takes(spec, lambda p, t: {"also": (*t.also, part)} if (p.point, t.kind) == (at, Kind.AIR) else {})
    )


BLUNDERS: dict[str, Callable[[np.random.Generator, RoundSpec], Clips]] = {
    "copied": copied,
    "swapped": swapped,
    "swapped throughout": swapped_throughout,
    "air off": air_off,
    "air on in quiet": air_on,
    "other gain": other_gain,
    "part of the time": part_of_the_time,
}
"""One row a slip."""
