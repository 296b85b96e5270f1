"""Rounds to be scored: drawn and rendered, or read from an archive; judged by our method and measured by the peers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from listen.bench.accuracy.measured import forecast
from listen.bench.accuracy.peers import Case
from listen.bench.accuracy.scores import Forecast
from listen.errors import RoundError
from listen.rounds.model import Facts
from listen.signal.clip import Clip
from listen.trade.points import Kind, PathId, walking_order

Clips = Mapping[str, Sequence[tuple[Kind, Clip]]]


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
    from listen.lab.simulator.draw import draw
    from listen.lab.simulator.render import render

    rng = np.random.default_rng(job.seed)
    spec = draw(rng, job.population, backgrounds=job.noise, leaks=job.leaks, sound_clips=True)
    clips: dict[str, list[tuple[Kind, Clip]]] = {}
    for (name, kind, _), clip in render(spec).items():
        clips.setdefault(name, []).append((kind, clip))
    facts = msgspec.convert(msgspec.to_builtins(spec.facts), Facts)
    truth = frozenset(map(str, spec.truth.paths))
    return _judged(clips, facts, truth, spec.background.name, job.ours)


def judge_folder(folder: Path) -> Judged:
    """Judge one truth-labelled loose round.

    Raises RoundError, ClipError: a folder or file that cannot be read or judged."""
    from listen.audio.files import read_clip
    from listen.rounds.loose import read_folder

    round_ = read_folder(folder)
    clips: dict[str, list[tuple[Kind, Clip]]] = {}
    for take in round_.takes:
        clips.setdefault(take.point, []).append((take.kind, read_clip(take.path)))
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


def _judged(clips: Clips, facts: Facts, truth: frozenset[str], background: str, ours: bool) -> Judged:
    from listen.bench.accuracy.peers import numbers

    case = Case(truth, numbers(clips), background)
    bare = {p: [(k, c) for k, c in takes if k is not Kind.SOUND] for p, takes in clips.items()}
    has_sound = any(len(bare[p]) < len(clips[p]) for p in clips)
    return Judged(
        case,
        _ours(clips, facts, truth, background) if ours and has_sound else None,
        _ours(bare, facts, truth, background) if ours else None,
    )


def _ours(clips: Clips, facts: Facts, truth: frozenset[str], background: str) -> Forecast:
    from listen.rounds.evaluate import judge_points
    from listen.signal.point import measure_point

    points = [measure_point(p, clips[p]) for p in sorted(clips, key=walking_order)]
    has_sound = any(k is Kind.SOUND for takes in clips.values() for k, _ in takes)
    helped = has_sound and facts.loss_percent is not None
    return forecast(judge_points("", points, facts), truth, background, helped)
