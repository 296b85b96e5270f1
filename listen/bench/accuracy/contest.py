"""Our method and its peers on the same rounds, drawn or read from an archive: who is fitted on what, who is scored how;
and every world by itself."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import msgspec
import numpy as np

from listen.audio.files import read_clip
from listen.bench.accuracy.measured import Clips, clips_of, judge_world, measure_clips, ours
from listen.bench.accuracy.peers import PEERS, Case, fit, numbers
from listen.bench.accuracy.scores import ECE_BINS, ROUND_BARS, SOUND, Figures, Forecast, score, standing
from listen.bench.accuracy.workers import spread
from listen.errors import RoundError, refusal
from listen.judge.taught import By
from listen.lab.simulator.draw import draw
from listen.lab.simulator.worlds import WORLDS
from listen.rate import calibration, counted
from listen.rounds.loose import read_folder
from listen.rounds.model import Facts
from listen.trade.points import Kind, PathId, walking_order


@dataclass(frozen=True, slots=True)
class Judged:
    case: Case
    with_sound: Forecast | None
    """Ours, sound-cylinder clips given; None where there are none."""
    without_sound: Forecast | None
    """Ours, without them."""


class _Truth(msgspec.Struct, frozen=True):
    paths: tuple[PathId, ...]


def judge_drawn(population: str, noise: Path | None, leaks: Path | None, seed: tuple[int, ...]) -> Judged:
    """Judge one drawn round; of the population ``tune`` only by the peers, for their fit."""
    spec = draw(np.random.default_rng(seed), population, backgrounds=noise, leaks=leaks, sound_clips=True)
    truth = frozenset(map(str, spec.truth.paths))
    return _judged(clips_of(spec), spec.facts, truth, spec.background.name, population == "report", "others")


def judge_folder(folder: Path) -> Judged:
    """Judge one truth-labelled loose round.

    Raises RoundError, ClipError: a folder or file that cannot be read or judged."""
    round_ = read_folder(folder)
    points = sorted({t.point for t in round_.takes}, key=walking_order)
    clips = {p: [(t.kind, read_clip(t.path)) for t in round_.takes if t.point == p] for p in points}
    return _judged(clips, round_.facts, read_truth(folder), folder.parent.name, True, "all")


def read_truth(folder: Path) -> frozenset[str]:
    """Paths of ``truth.json``. Raises RoundError: missing, broken, or without paths."""
    file = folder / "truth.json"
    try:
        with refusal(RoundError, f"{file}: cannot be read", "a scored archive needs it beside the clips"):
            paths = msgspec.json.decode(file.read_bytes(), type=_Truth).paths
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


def _judged(clips: Clips, facts: Facts, truth: frozenset[str], background: str, own: bool, taught: By) -> Judged:
    # Measured twice: what a sound cylinder's clips say of a point must not reach the judge who is to do without them.
    bare = {p: [(k, c) for k, c in takes if k is not Kind.SOUND] for p, takes in clips.items()}
    with_sound, without = (
        ours(measure_clips(each), facts, truth, background, taught) if own and wanted else None
        for each, wanted in ((clips, bare != clips), (bare, True))
    )
    return Judged(Case(truth, numbers(clips), background), with_sound, without)


STREAMS = {"tune": 1, "report": 2}
"""Second word of every round's seed: tuning and reported rounds never share one."""


def contest_drawn(
    noise: Path | None, leaks: Path | None, rounds: int, tune_rounds: int, seed: int, workers: int
) -> Figures:
    judged = spread(partial(judge_drawn, "report", noise, leaks), seeds("report", rounds, seed), workers)
    where = f"recordings of {noise.name or noise}" if noise else "synthetic shops"
    title = f"{rounds} drawn rounds over {where}" + (", half of the leaks of recorded hisses" if leaks else "")
    return _contest(title, judged, _tuning(noise, tune_rounds, seed, workers), where)


def contest_archive(root: Path, tune_rounds: int, seed: int, workers: int) -> Figures:
    """Score a truth-labelled archive; peers are fitted on drawn rounds over synthetic shops."""
    folders = labelled(root)
    judged = spread(judge_folder, folders, workers)
    tuning = _tuning(None, tune_rounds, seed, workers)
    return _contest(f"{len(folders)} labelled rounds of {root.name or root}", judged, tuning, "as recorded")


def seeds(population: str, rounds: int, seed: int) -> list[tuple[int, ...]]:
    return [(seed, STREAMS[population], i) for i in range(rounds)]


def _tuning(noise: Path | None, rounds: int, seed: int, workers: int) -> list[Case]:
    judged = spread(partial(judge_drawn, "tune", noise, None), seeds("tune", rounds, seed), workers)
    return [j.case for j in judged]


def _contest(title: str, judged: Sequence[Judged], tuning: Sequence[Case], where: str) -> Figures:
    given = [j.with_sound for j in judged if j.with_sound is not None]
    bare = [j.without_sound for j in judged if j.without_sound is not None]
    lines = [_line("ours-sound", "hissway, with sound-cylinder clips", given)] if given else []
    lines.append(_line("ours", "hissway, without them" if given else "hissway", bare))
    if tuning:
        lines += [_peer(peer, tuning, [j.case for j in judged]) for peer in PEERS]
    return {
        "title": title,
        "backgrounds": where,
        "tuned_on": 'population "tune": other backgrounds, leak shapes, ducts, microphones and seeds than "report"',
        "tune_rounds": len(tuning),
        "lines": lines,
        "by_truth": parts(bare, lambda f: f.truth_label),
        "by_background": parts(bare, lambda f: f.background),
        # How sure of the most likely path, in the bins of the ECE, and how often it is there (the last line of ours).
        "reliability": calibration([f.top for f in bare], [i / ECE_BINS for i in range(ECE_BINS + 1)]),
    }


def _line(key: str, name: str, forecasts: Sequence[Forecast]) -> Figures:
    return {"key": key, "name": name, "scores": score(forecasts), "scripted": None, "fitted": {}}


def _peer(peer: str, tuning: Sequence[Case], cases: Sequence[Case]) -> Figures:
    fitted = fit(peer, tuning)
    return {
        **_line(peer, PEERS[peer], [fitted.forecast(c) for c in cases]),
        # As scripted it always answers.
        "scripted": score([fitted.forecast(c, always=True) for c in cases]),
        # On the tuning rounds, dB: threshold, temperature, where sound, fitting and set-up stand.
        "fitted": {"threshold": fitted.threshold, "temperature": fitted.temperature, **fitted.fixed},
    }


def parts(forecasts: Sequence[Forecast], label: Callable[[Forecast], str]) -> tuple[Figures, ...]:
    """Break our scores down by a label, in order of the label."""
    groups: dict[str, list[Forecast]] = {}
    for f in forecasts:
        groups.setdefault(label(f), []).append(f)
    return tuple(_part(name, groups[name]) for name in sorted(groups))


def _part(name: str, group: Sequence[Forecast]) -> Figures:
    missed = [f for f in group if f.named and not f.right]
    return {
        "name": name,
        "rounds": len(group),
        "right": counted([f for f in group if f.named], lambda f: f.right),
        "coverage": counted(group, lambda f: bool(f.named)),
        "top_right": sum(f.top[1] for f in group) / len(group),
        # On the sound cylinders among them.
        "false_calls": counted([f for f in group if SOUND in f.truth], lambda f: f.called_leak),
        "named_wrong": dict(Counter("+".join(p for p in f.named if p not in f.truth) for f in missed)),
    }


ALL = "all together"


def worlds(
    rounds: int, seed: int, workers: int, kept_in: Path | None, noise: Path | None = None
) -> tuple[Figures, ...]:
    """Judge rounds of every world; the one with most bars missed, then the least right of named, comes first.

    ``noise`` is a folder of recordings in whose shops they are drawn. All worlds together come last.
    """
    forecasts_of = {name: judge_world(name, rounds, seed, workers, kept_in, noise=noise) for name in WORLDS}
    found = [scored(name, WORLDS[name].differs, forecasts) for name, forecasts in forecasts_of.items()]
    found.sort(key=lambda w: (-len(w["missed"]), w["scores"].right.value or 0.0))
    return *found, scored(ALL, "All worlds, each as often.", [f for every in forecasts_of.values() for f in every])


def scored(name: str, differs: str, forecasts: Sequence[Forecast]) -> Figures:
    scores = score(forecasts)
    missed = tuple(b.name for b in ROUND_BARS if standing(b, scores) == "MISSED")
    by_truth = parts(forecasts, lambda f: f.truth_label)
    return {"name": name, "differs": differs, "scores": scores, "missed": missed, "by_truth": by_truth}
