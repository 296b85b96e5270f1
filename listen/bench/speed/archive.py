"""An archive of simulated rounds for benches: a few rendered from seeds, the rest links to them under other names."""

import os
import shutil
from pathlib import Path

import numpy as np

SCENES = 6
"""Rounds rendered; more would measure the renderer. Every round is read and judged anew, linked or not."""
SECONDS = 4.0
"""Length of each clip, the usual one."""
POINTS = ("intake", "tailpipe", "oil-filler", "radiator")


def make_archive(root: Path, rounds: int, seed: int) -> list[Path]:
    """Write ``rounds`` loose rounds of four points with three takes of 4 s at 48 kHz (quiet, air, quiet)."""
    from listen.lab.simulator.draw import Wishes, draw
    from listen.lab.simulator.write import write_round
    from listen.trade.points import Kind

    wishes = Wishes(
        points=POINTS,
        seconds=(SECONDS, SECONDS),
        takes=(Kind.QUIET, Kind.AIR, Kind.QUIET),
        rate_hz=48_000,
    )
    folders = [root / f"round-{n:05d}" for n in range(rounds)]
    for n, folder in enumerate(folders):
        if n < SCENES:
            write_round(draw(np.random.default_rng([seed, n]), "report", wishes=wishes), folder)
        else:
            _link(folders[n % SCENES], folder)
    return folders


def _link(source: Path, folder: Path) -> None:
    folder.mkdir()
    for file in source.iterdir():
        try:
            os.link(file, folder / file.name)
        except OSError:  # a file system without links
            shutil.copy2(file, folder / file.name)


def sound_files(folder: Path) -> list[Path]:
    """The sound files of a loose round, in order of name."""
    return sorted(p for p in folder.iterdir() if p.suffix == ".flac")
