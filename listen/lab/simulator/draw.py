"""Rounds held apart: two populations that share no leak shape, duct, microphone, shop or recording, so that what is
fitted on one is reported on the other; and any round moved into a recorded shop."""

from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np

from listen.errors import RoundError, UsageError
from listen.lab.simulator.background import file_seconds
from listen.lab.simulator.curves import Curve, add
from listen.lab.simulator.scene import Background, Hiss, RoundSpec
from listen.lab.simulator.shops import SHOPS, recorded, recorded_leaks, recorded_shape, recordings
from listen.lab.simulator.worlds import SHOP
from listen.lab.simulator.worlds.sounds import bent, bent_duct, duct, near_the_shop, resonant, usual
from listen.lab.simulator.worlds.world import Wishes, World

POPULATIONS: dict[str, World] = {
    "tune": replace(SHOP, name="tune", shops=("tune",), sound=usual, duct=duct, microphone=near_the_shop),
    "report": replace(SHOP, name="report", shops=("report",), sound=bent, duct=bent_duct, microphone=resonant),
}
"""The world ``shop`` in two halves."""
SHORTEST_TAKE_S = 0.5
"""A short recording makes no shorter clips: in less, too few stretches are left to measure their spread."""
RECORDED_SHARE = 0.5
"""Share of sources that sound as a recorded hiss where there are any."""


def draw(
    rng: np.random.Generator,
    population: str,
    *,
    backgrounds: Path | None = None,
    leaks: Path | None = None,
    sound_clips: bool = False,
    wishes: Wishes = Wishes(),  # noqa: B008 (frozen)
    name: str = "",
) -> RoundSpec:
    """Draw one round of a population, with or without clips of a sound cylinder at the same points.

    ``backgrounds`` holds ``background-*.flac`` to use instead of the synthetic shops, ``leaks`` ``hiss-*.flac`` whose
    spectra half of the leaks take.

    Raises UsageError: unknown population. RoundError: no recordings for it in the folder, or one too short for
    clips."""
    if population not in POPULATIONS:
        raise UsageError(f"unknown population {population!r}; known: {' '.join(POPULATIONS)}")
    spec = replace(POPULATIONS[population], sound_clips=float(sound_clips)).draw(rng, name, wishes=wishes)
    # An even seed tunes, an odd one reports: no noise is ever heard on both sides.
    seed = 2 * spec.seed + SHOPS.index(population)
    spec = msgspec.structs.replace(spec, seed=seed, name=name or f"{population}-{seed:014x}")
    if backgrounds:
        spec = on_recording(spec, recorded(rng, recordings(backgrounds, population)))
    return with_leaks(rng, spec, leaks, population) if leaks and recorded_leaks(leaks, population) else spec


def in_recorded_shop(rng: np.random.Generator, spec: RoundSpec, folder: Path) -> RoundSpec:
    """A world's round over a recording, with leaks and ducts from recordings and the reported population.

    What a world is about (what levels follow, how sound gets about, drift, mishaps, readings) stays.

    Raises RoundError: the folder holds no ``background-*`` for the population. ClipError: a recording cannot be
    read."""
    background = recorded(rng, recordings(folder, "report"))
    background = msgspec.structs.replace(background, level_dbfs=spec.background.level_dbfs)
    return with_leaks(rng, on_recording(spec, background), folder, "report")


def on_recording(spec: RoundSpec, background: Background) -> RoundSpec:
    """The round over a sound file; a short one makes shorter clips, since no sample serves twice at one point.

    Raises RoundError: too short for clips. ClipError: it cannot be read."""
    whole_s = file_seconds(background.file, spec.rate_hz)
    takes = max((p.takes for p in spec.points), key=lambda takes: sum(t.seconds for t in takes))
    least_s = len(takes) * SHORTEST_TAKE_S
    if whole_s < least_s:
        raise RoundError(
            f"{background.file}: {whole_s:.2f} s long; {len(takes)} clips at each point need {least_s:g} s at least, "
            "give a longer recording"
        )
    # Down to tenths below: rounded up, the clips together could be longer than the recording.
    part = min(1.0, whole_s / sum(t.seconds for t in takes))
    points = tuple(
        msgspec.structs.replace(
            p, takes=tuple(msgspec.structs.replace(t, seconds=int(t.seconds * part * 10) / 10) for t in p.takes)
        )
        for p in spec.points
    )
    return msgspec.structs.replace(spec, points=points, background=background)


def with_leaks(rng: np.random.Generator, spec: RoundSpec, folder: Path, population: str) -> RoundSpec:
    """The round with other leaks and ducts: half of the sources as the folder's ``hiss-*``, where it has any.

    Raises ClipError: a recording cannot be read."""
    world = POPULATIONS[population]
    shapes = [recorded_shape(path) for path in recorded_leaks(folder, population)]
    # One sound a source: it is the same air at every point, each by its own way.
    sources: dict[str, Curve] = {}

    def heard(hiss: Hiss, way: Curve) -> Hiss:
        if hiss.source not in sources:
            taken = shapes and rng.random() < RECORDED_SHARE
            own = shapes[int(rng.integers(len(shapes)))] if taken else None
            sources[hiss.source] = own or world.sound(rng, hiss.source, 0.8).shape
        return msgspec.structs.replace(hiss, curve=add(sources[hiss.source], way))

    points = []
    for p in spec.points:
        way = world.duct(rng, p.point)
        air, sound = (tuple(heard(h, way) for h in hisses) for hisses in (p.air, p.sound))
        points.append(msgspec.structs.replace(p, air=air, sound=sound))
    return msgspec.structs.replace(spec, points=tuple(points))
