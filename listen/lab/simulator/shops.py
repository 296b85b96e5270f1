"""Backgrounds to draw from: synthetic shops per population, and recordings of shops and hisses split between them.

Rule of the split: a recording's family is the first word of its name after ``background-`` (near relations joined by
``SAME_FAMILY``); the parity of the CRC-32 of ``split/<family>`` says which population has it. So recordings of one
thing never fall on both sides, and a new file moves none of the others.
"""

import tomllib
from functools import cache, lru_cache
from importlib.resources import files
from pathlib import Path
from zlib import crc32

import msgspec
import numpy as np
from msgspec.structs import replace

from listen.audio.files import read_clip
from listen.errors import RoundError
from listen.lab.simulator.curves import CONTROL_HZ, FLAT, OCTAVES, Curve, curve
from listen.lab.simulator.scene import Background, Part

PREFIX, LEAK = "background-", "hiss-"
SAME_FAMILY = {"fireplace": "fire", "storm": "wind", "airplane": "air", "waterfall": "stream"}
"""First words that mean the same kind of recording."""
SOUND_FILES = (".flac", ".wav", ".ogg")
SHOPS = ("tune", "report")
"""The populations, by name; nothing is drawn for both."""


Drawn = float | tuple[float, float]
"""A figure, or the range it is drawn from."""


class Sounding(msgspec.Struct, frozen=True):
    """One thing that sounds in a shop, as it is drawn."""

    kind: str
    level_db: Drawn
    slope: float | None = None
    """dB an octave, with a smooth error; None: ``shape`` as it stands."""
    numbers: dict[str, Drawn] = {}
    shape: Curve = FLAT

    def part(self, rng: np.random.Generator) -> Part:
        level_db = _figure(rng, self.level_db)
        shape = self.shape
        if self.slope is not None:
            shape = curve(self.slope * OCTAVES + np.interp(OCTAVES, np.linspace(-5, 4.5, 6), rng.normal(0, 1.5, 6)))
        numbers = {name: round(_figure(rng, value), 3) for name, value in self.numbers.items()}
        return Part(kind=self.kind, level_db=level_db, curve=shape, numbers=numbers)


def _figure(rng: np.random.Generator, drawn: Drawn) -> float:
    return float(rng.uniform(*drawn)) if isinstance(drawn, tuple) else float(drawn)


@cache
def shops() -> dict[str, dict[str, tuple[Sounding, ...]]]:
    """Synthetic shops by population and name (``shops.toml``)."""
    table = tomllib.loads(files("listen.lab.simulator").joinpath("shops.toml").read_text("utf-8"))
    return msgspec.convert(table, dict[str, dict[str, tuple[Sounding, ...]]])


def shop_parts(rng: np.random.Generator, name: str) -> tuple[Part, ...]:
    """What sounds in a synthetic shop, drawn. Raises StopIteration: no such shop."""
    rows = next(named[name] for named in shops().values() if name in named)
    # Noise stands first: the order in which parts are rendered belongs to what a seed sounds like.
    return tuple(sorted((row.part(rng) for row in rows), key=lambda part: part.kind != "noise"))


def family(path: Path) -> str:
    """Kind of thing a recording is of, from its name; every hiss is one of its own."""
    if path.stem.startswith(LEAK):
        return path.stem.removeprefix(LEAK)
    word = path.stem.removeprefix(PREFIX).split("-")[0]
    return SAME_FAMILY.get(word, word)


def population_of(path: Path) -> str:
    return SHOPS[crc32(f"split/{family(path)}".encode()) % 2]


def _all_named(folder: Path, prefix: str) -> list[Path]:
    return sorted(p for p in folder.glob(f"{prefix}*") if p.suffix.lower() in SOUND_FILES)


def recordings(folder: Path, population: str) -> tuple[Path, ...]:
    """Background recordings of a folder that this population may use, sorted.

    Raises RoundError: the folder holds none for it."""
    all_files = _all_named(folder, PREFIX)
    mine = tuple(p for p in all_files if population_of(p) == population)
    if not mine:
        raise RoundError(
            f"{folder}: {len(all_files)} files named {PREFIX}*.flac, none for the population {population!r}; "
            "add recordings of other things"
        )
    return mine


def shop(rng: np.random.Generator, population: str) -> Background:
    names = sorted(shops()[population])
    name = names[int(rng.integers(len(names)))]
    return Background(name=name, parts=shop_parts(rng, name), level_dbfs=round(float(rng.uniform(-55, -38)), 2))


def one_machine(rng: np.random.Generator, parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """The same parts with tones that keep their balance from clip to clip."""
    return tuple(
        replace(p, numbers={**p.numbers, "machine": float(rng.integers(2**31))}) if p.kind == "tones" else p
        for p in parts
    )


def recorded(rng: np.random.Generator, files: tuple[Path, ...]) -> Background:
    path = files[int(rng.integers(len(files)))]
    return Background(name=path.stem, file=str(path), level_dbfs=round(float(rng.uniform(-50, -35)), 2))


FLOOR_DB = -40.0
"""A recording says nothing about what lies this far below its loudest half octave."""


def recorded_leaks(folder: Path, population: str) -> tuple[Path, ...]:
    """Recordings of hisses in a folder that a population may use; none is no error."""
    return tuple(p for p in _all_named(folder, LEAK) if population_of(p) == population)


@lru_cache(maxsize=32)
def recorded_shape(path: Path) -> Curve:
    """Power density of a recording in half octaves, dB; its level does not count.

    Above half its sample rate the last value is carried on.

    Raises ClipError: the recording cannot be read."""
    clip = read_clip(path)
    power = np.abs(np.fft.rfft(clip.samples.astype(np.float64))) ** 2
    freq = np.fft.rfftfreq(len(clip.samples), 1 / clip.rate_hz)
    levels = []
    for centre in CONTROL_HZ:
        inside = (freq >= centre * 2**-0.25) & (freq < centre * 2**0.25)
        levels.append(float(np.mean(power[inside])) if inside.any() else 0.0)
    found = np.asarray(levels)
    known = found > 0
    # Half octaves without a bin, or beyond half the rate, take what lies beside them.
    decibels = np.interp(np.arange(len(found)), np.flatnonzero(known), 10 * np.log10(found[known]))
    return curve(np.maximum(decibels - decibels.max(), FLOOR_DB))
