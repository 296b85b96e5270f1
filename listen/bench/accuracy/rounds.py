"""Rounds to be scored: drawn and rendered, or read from an archive; judged by our method and measured by the peers."""

from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from listen.audio.files import read_clip
from listen.bench.accuracy.measured import Clips, clips_of, measure_clips, ours
from listen.bench.accuracy.peers import Case, numbers
from listen.bench.accuracy.scores import Forecast
from listen.errors import RoundError
from listen.lab.simulator.draw import draw
from listen.rounds.loose import read_folder
from listen.rounds.model import Facts
from listen.trade.points import Kind, PathId, walking_order


@dataclass(frozen=True, slots=True)
class Job:
    """One round to be judged in a process of its own."""

    seed: tuple[int, ...]
    population: str
    noise: Path | None
    leaks: Path | None
    """Folder of ``hiss-*.flac`` whose spectra half of the leaks take."""
    ours: bool
    """False: only the peers, for their fit."""


@dataclass(frozen=True, slots=True)
class Judged:
    case: Case
    with_sound: Forecast | None
    """Ours, sound-cylinder clips given; None where there are none."""
    without_sound: Forecast | None
    """Ours, without them."""


class _Truth(msgspec.Struct, frozen=True):
    paths: tuple[PathId, ...]


def judge_drawn(job: Job) -> Judged:
    rng = np.random.default_rng(job.seed)
    spec = draw(rng, job.population, backgrounds=job.noise, leaks=job.leaks, sound_clips=True)
    truth = frozenset(map(str, spec.truth.paths))
    return _judged(clips_of(spec), spec.facts, truth, spec.background.name, job.ours)


def judge_folder(folder: Path) -> Judged:
    """Judge one truth-labelled loose round.

    Raises RoundError, ClipError: a folder or file that cannot be read or judged."""
    round_ = read_folder(folder)
    points = sorted({t.point for t in round_.takes}, key=walking_order)
    clips = {p: [(t.kind, read_clip(t.path)) for t in round_.takes if t.point == p] for p in points}
    return _judged(clips, round_.facts, read_truth(folder), folder.parent.name, True)


def read_truth(folder: Path) -> frozenset[str]:
    """Paths of ``truth.json``. Raises RoundError: missing, broken, or without paths."""
    file = folder / "truth.json"
    try:
        paths = msgspec.json.decode(file.read_bytes(), type=_Truth).paths
    except OSError as e:
        raise RoundError(f"{file}: cannot be read ({e.strerror}); a scored archive needs it beside the clips") from e
    except (msgspec.DecodeError, UnicodeDecodeError) as e:
        raise RoundError(f"{file}: {e}; it should name the paths at work") from None
    if not paths or (PathId.NONE in paths and len(paths) > 1):
        raise RoundError(f"{file}: names {len(paths)} paths; one or more is needed, and none stands alone for sound")
    return frozenset(map(str, paths))


def labelled(root: Path) -> list[Path]:
    """Folders under ``root`` that hold a ``truth.json``, sorted. Raises RoundError: there is none."""
    folders = sorted({f.parent for f in root.rglob("truth.json")})
    if not folders:
        raise RoundError(f"{root}: no truth.json in any folder; give the folder that holds truth-labelled rounds")
    return folders


def _judged(clips: Clips, facts: Facts, truth: frozenset[str], background: str, own: bool) -> Judged:
    # Measured twice: what a sound cylinder's clips say of a point must not reach the judge who is to do without them.
    bare = {p: [(k, c) for k, c in takes if k is not Kind.SOUND] for p, takes in clips.items()}
    with_sound, without = (
        ours(measure_clips(each), facts, truth, background) if own and wanted else None
        for each, wanted in ((clips, bare != clips), (bare, True))
    )
    return Judged(Case(truth, numbers(clips), background), with_sound, without)
