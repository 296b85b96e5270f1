"""Loose rounds made for the tests: one from the simulator with a planted leak, and small ones of plain noise."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from listen.audio.write import write_clip
from listen.lab.simulator.draw import draw
from listen.lab.simulator.worlds.world import Wishes
from listen.signal.clip import Clip
from listen.trade.points import Kind, PathId
from tests.lab.truths import write_with_truth

RATE_HZ = 48_000
BRACKET = (Kind.QUIET, Kind.AIR, Kind.QUIET)
POINTS = ("intake", "tailpipe", "oil-filler")
NOBODY = 65_534


def simulated(
    folder: Path,
    *,
    path: PathId = PathId.INTAKE_VALVE,
    seed: int = 2,
    rate_hz: int = RATE_HZ,
    seconds: float = 2.0,
    points: tuple[str, ...] = POINTS,
) -> Path:
    """A simulated round with one plain leak (16 dB of hiss) in a fairly steady shop."""
    wishes = Wishes(
        paths=(path,),
        hiss_db=16.0,
        points=points,
        seconds=seconds,
        takes=BRACKET,
        rate_hz=rate_hz,
        drift_db=0.1,
    )
    return write_with_truth(draw(np.random.default_rng(seed), "report", wishes=wishes), folder)


def noise(seed: int, seconds: float = 1.5, rate_hz: int = RATE_HZ, rms: float = 0.01) -> NDArray[np.float64]:
    """White noise."""
    return rms * np.random.default_rng(seed).standard_normal(round(seconds * rate_hz))


def plain(folder: Path, *names: str, seconds: float = 1.5) -> Path:
    """A round of noise under the names given; air clips are twice as loud."""
    folder.mkdir(parents=True, exist_ok=True)
    for i, name in enumerate(names or ("intake-quiet-1.flac", "intake-air-1.flac", "intake-quiet-2.flac")):
        loud = noise(i, seconds, rms=0.02 if "-air" in name.lower() else 0.01)
        if name.lower().endswith(".flac"):
            write_clip(folder / name, Clip.of(loud, RATE_HZ))
        else:
            soundfile.write(folder / name, loud, RATE_HZ, subtype="PCM_24", format="WAV")
    return folder


def facts(folder: Path, **values: object) -> Path:
    """Write ``round.json``."""
    (folder / "round.json").write_text(json.dumps(values))
    return folder


@contextmanager
def ordinary_user() -> Iterator[None]:
    """Permissions hold inside: where the tests run as root, they go on as nobody (paths must be relative)."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
