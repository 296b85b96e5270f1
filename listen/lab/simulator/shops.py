"""Backgrounds to draw from: synthetic shops per population, and recordings of shops and hisses split between them.

Rule of the split: a recording's family is the first word of its name after ``background-`` (near relations joined by
``SAME_FAMILY``); the parity of the CRC-32 of ``split/<family>`` says which population has it. So recordings of one
thing never fall on both sides, and a new file moves none of the others.
"""

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from zlib import crc32

import msgspec
import numpy as np

from listen.errors import RoundError
from listen.lab.simulator.curves import CONTROL_HZ, OCTAVES, Curve, curve
from listen.lab.simulator.scene import Background, Part

PREFIX = "background-"
SAME_FAMILY = {"fireplace": "fire", "storm": "wind", "airplane": "air", "waterfall": "stream"}
"""First words that mean the same kind of recording."""
SOUND_FILES = (".flac", ".wav", ".ogg")


def _slope(db_per_octave: float, rng: np.random.Generator) -> Curve:
    knots = np.linspace(-5, 4.5, 6)
    return curve(db_per_octave * OCTAVES + np.interp(OCTAVES, knots, rng.normal(0, 1.5, 6)))


def _noise(level_db: float, shape: Curve) -> Part:
    return Part(kind="noise", level_db=level_db, curve=shape)


def _event(kind: str, level_db: float, **numbers: float) -> Part:
    return Part(kind=kind, level_db=level_db, numbers={k: round(float(v), 3) for k, v in numbers.items()})


def _idle_shop(rng: np.random.Generator) -> tuple[Part, ...]:
    return (_noise(-3, _slope(-6, rng)), _noise(rng.uniform(-16, -6), _slope(-3, rng)))


def _piston_compressor(rng: np.random.Generator) -> tuple[Part, ...]:
    throb = Part(kind="throb", level_db=-6, curve=_slope(-4, rng), numbers={"rate_hz": 12.0, "depth": 0.3})
    hum = _event("tones", rng.uniform(-8, 0), base_hz=49.3, top_hz=4000, tilt_db=-4)
    return (_noise(-8, _slope(-3.5, rng)), throb, hum)


def _hammering(rng: np.random.Generator) -> tuple[Part, ...]:
    strikes = _event("clanks", rng.uniform(10, 24), per_s=rng.uniform(0.3, 1.5))
    return (_noise(-1, _slope(-4, rng)), strikes, _event("knocks", 18, per_s=0.4))


def _talk(rng: np.random.Generator) -> tuple[Part, ...]:
    talk = _event("speech", rng.uniform(-3, 6), pitch_hz=rng.uniform(95, 150), gap_s=0.5, burst_s=1.2)
    return (_noise(-4, _slope(-4.5, rng)), talk)


def _ventilation(rng: np.random.Generator) -> tuple[Part, ...]:
    hump = curve(-2.5 * np.maximum(0, OCTAVES) + 6 * np.exp(-0.5 * ((OCTAVES + 1) / 1.5) ** 2))
    blade = _event("tones", rng.uniform(-14, -5), base_hz=rng.uniform(160, 330), top_hz=2500, tilt_db=-7)
    return (_noise(0, hump), blade)


def _screw_compressor(rng: np.random.Generator) -> tuple[Part, ...]:
    whine = _event("tones", rng.uniform(-9, -2), base_hz=rng.uniform(420, 800), top_hz=9000, tilt_db=-3)
    return (_noise(-2, _slope(-3, rng)), whine, _event("tones", -8, base_hz=99.0, top_hz=1500, tilt_db=-5))


def _next_bay(rng: np.random.Generator) -> tuple[Part, ...]:
    strokes = _event("ratchet", rng.uniform(6, 18), per_s=rng.uniform(0.2, 0.7), clicks_hz=rng.uniform(14, 24))
    return (_noise(-1, _slope(-5, rng)), strokes, _event("drips", rng.uniform(0, 9), per_s=rng.uniform(0.3, 1.5)))


def _radio(rng: np.random.Generator) -> tuple[Part, ...]:
    voice = _event("speech", rng.uniform(-4, 5), pitch_hz=rng.uniform(160, 230), gap_s=0.25, burst_s=2.0)
    return (_noise(-3, _slope(-3, rng)), voice)


Shop = Callable[[np.random.Generator], tuple[Part, ...]]
SHOPS: dict[str, dict[str, Shop]] = {
    "tune": {
        "idle shop": _idle_shop,
        "piston compressor": _piston_compressor,
        "hammering": _hammering,
        "talk": _talk,
    },
    "report": {
        "ventilation": _ventilation,
        "screw compressor": _screw_compressor,
        "next bay": _next_bay,
        "radio": _radio,
    },
}
"""Synthetic shops by population: one row a shop."""
SIDES = tuple(SHOPS)
"""The populations, by name."""


def family(path: Path) -> str:
    """Kind of thing a recording is of, from its name."""
    word = path.stem.removeprefix(PREFIX).split("-")[0]
    return SAME_FAMILY.get(word, word)


def population_of(path: Path) -> str:
    return SIDES[crc32(f"split/{family(path)}".encode()) % 2]


def recordings(folder: Path, population: str) -> tuple[Path, ...]:
    """Background recordings of a folder that this population may use, sorted.

    Raises RoundError: the folder holds none for it."""
    all_files = sorted(p for p in folder.glob(f"{PREFIX}*") if p.suffix.lower() in SOUND_FILES)
    mine = tuple(p for p in all_files if population_of(p) == population)
    if not mine:
        raise RoundError(
            f"{folder}: {len(all_files)} files named {PREFIX}*.flac, none for the population {population!r}; "
            "add recordings of other things"
        )
    return mine


def shop(rng: np.random.Generator, population: str) -> Background:
    names = sorted(SHOPS[population])
    name = names[int(rng.integers(len(names)))]
    return Background(name=name, parts=SHOPS[population][name](rng), level_dbfs=round(float(rng.uniform(-55, -38)), 2))


def one_machine(rng: np.random.Generator, parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """The same parts with tones that keep their balance from clip to clip."""
    return tuple(
        msgspec.structs.replace(p, numbers={**p.numbers, "machine": float(rng.integers(2**31))})
        if p.kind == "tones"
        else p
        for p in parts
    )


def recorded(rng: np.random.Generator, files: tuple[Path, ...]) -> Background:
    path = files[int(rng.integers(len(files)))]
    return Background(name=path.stem, file=str(path), level_dbfs=round(float(rng.uniform(-50, -35)), 2))


LEAK = "hiss-"
FLOOR_DB = -40.0
"""A recording says nothing about what lies this far below its loudest half octave."""


def recorded_leaks(folder: Path, population: str) -> tuple[Path, ...]:
    """Recordings of hisses in a folder that a population may use; none is no error."""
    every = sorted(p for p in folder.glob(f"{LEAK}*") if p.suffix.lower() in SOUND_FILES)
    return tuple(p for p in every if SIDES[crc32(f"split/{p.stem.removeprefix(LEAK)}".encode()) % 2] == population)


@lru_cache(maxsize=32)
def recorded_shape(path: Path) -> Curve:
    """Power density of a recording in half octaves, dB; its level does not count.

    Above half its sample rate the last value is carried on.

    Raises ClipError: the recording cannot be read."""
    from listen.audio.files import read_clip

    clip = read_clip(path)
    power = np.abs(np.fft.rfft(clip.samples.astype(np.float64))) ** 2
    freq = np.fft.rfftfreq(len(clip.samples), 1 / clip.rate_hz)
    levels = []
    for centre in CONTROL_HZ:
        inside = (freq >= centre * 2**-0.25) & (freq < centre * 2**0.25)
        levels.append(float(np.mean(power[inside])) if inside.any() else 0.0)
    found = np.asarray(levels)
    known = found > 0
    decibels = np.interp(np.arange(len(found)), np.flatnonzero(known), 10 * np.log10(found[known]))
    return curve(np.maximum(decibels - decibels.max(), FLOOR_DB))
