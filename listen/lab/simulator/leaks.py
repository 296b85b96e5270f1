"""Leak spectra from recordings of real hisses (``hiss-*.flac`` in a folder), split between populations by name."""

from functools import lru_cache
from pathlib import Path
from zlib import crc32

import numpy as np

from listen.lab.simulator.curves import CONTROL_HZ, Curve, curve
from listen.lab.simulator.families import POPULATIONS
from listen.lab.simulator.shops import SOUND_FILES

PREFIX = "hiss-"
FLOOR_DB = -40.0
"""A recording says nothing about what lies this far below its loudest half octave."""


def recorded_leaks(folder: Path, population: str) -> tuple[Path, ...]:
    """Recordings of hisses in a folder that a population may use; none is no error."""
    every = sorted(p for p in folder.glob(f"{PREFIX}*") if p.suffix.lower() in SOUND_FILES)
    return tuple(
        p for p in every if POPULATIONS[crc32(f"split/{p.stem.removeprefix(PREFIX)}".encode()) % 2] == population
    )


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
