"""The same rounds of a world in recorded shops, with leaks and ducts that no world has.

What a world is about (what levels follow, how sound gets about, drift, mishaps, readings) stays; what the shop, the
leak and the way to the mouth sound like comes from recordings and from another family of shapes.
"""

from pathlib import Path

import msgspec
import numpy as np

from listen.lab.simulator.background import file_seconds
from listen.lab.simulator.curves import Curve, add
from listen.lab.simulator.families import duct_shape, leak_shape
from listen.lab.simulator.scene import Hiss, RoundSpec
from listen.lab.simulator.shops import recorded, recorded_leaks, recorded_shape, recordings

RECORDED_LEAK = 0.5
"""Share of sources that sound as one of the folder's recorded hisses, where it has any."""


def in_recorded_shop(rng: np.random.Generator, spec: RoundSpec, folder: Path, population: str = "report") -> RoundSpec:
    """A drawn round with another shop, other leaks and other ducts.

    Raises RoundError: the folder holds no ``background-*`` for the population. ClipError: a recording cannot be
    read."""
    background = recorded(rng, recordings(folder, population))
    # A short recording makes shorter clips: no sample serves twice at one point.
    longest_s = max(sum(t.seconds for t in p.takes) for p in spec.points)
    shorter = min(1.0, file_seconds(background.file, spec.rate_hz) / longest_s)
    shapes = [recorded_shape(path) for path in recorded_leaks(folder, population)]
    sources: dict[str, Curve] = {}
    points = []
    for p in spec.points:
        way = duct_shape(rng, population, p.point)

        def heard(hiss: Hiss, way: Curve = way) -> Hiss:
            if hiss.source not in sources:
                of_recording = shapes and rng.random() < RECORDED_LEAK
                own = shapes[int(rng.integers(len(shapes)))] if of_recording else None
                sources[hiss.source] = own or leak_shape(rng, population, hiss.source)
            return msgspec.structs.replace(hiss, curve=add(sources[hiss.source], way))

        points.append(
            msgspec.structs.replace(
                p,
                takes=tuple(msgspec.structs.replace(t, seconds=int(t.seconds * shorter * 10) / 10) for t in p.takes),
                air=tuple(map(heard, p.air)),
                sound=tuple(map(heard, p.sound)),
            )
        )
    background = msgspec.structs.replace(background, level_dbfs=spec.background.level_dbfs)
    return msgspec.structs.replace(spec, points=tuple(points), background=background)
