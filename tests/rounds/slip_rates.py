"""How many slips of each kind are noticed, world by world, in simulated and recorded shops; how many clean rounds."""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from listen.bench.accuracy.workers import spread
from listen.lab.simulator.draw import in_recorded_shop
from listen.lab.simulator.worlds import WORLDS
from listen.rate import counted
from listen.rounds.evaluate import judge_points
from listen.rounds.model import Facts
from listen.rounds.slips.blunders import blunders
from listen.signal.clip import Clip
from listen.signal.point import PointTakes, measure_point
from listen.trade.points import Kind, walking_order
from tests.rounds.slips import BLUNDERS, Clips, clean, swapped_throughout

SUMMARY = "make slips of whoever records, in every world, and count how many are noticed"
EXAMPLE = "python -m tests slips --rounds-drawn 40"
CLEAN = "none"

Found = tuple[str, str, str, tuple[str, ...], bool]
"""World, slip, mishap, flags, whether a path was named."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rounds-drawn", type=int, default=20, help="rounds of every world")
    parser.add_argument("--noise", type=Path, metavar="DIR", help="in shops of these recordings background-*.flac")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)


def run(args: argparse.Namespace) -> int:
    jobs = [(w, args.seed, i, args.noise) for w in WORLDS for i in range(args.rounds_drawn)]
    found = [one for group in spread(slips_of, jobs, args.workers) for one in group]
    sys.stdout.write(f"{'':<12}" + "".join(f"{slip:>20}" for slip in (CLEAN, *BLUNDERS)) + "\n")
    for world in (*WORLDS, "all"):
        here = [f for f in found if world in (f[0], "all")]
        sys.stdout.write(f"{world:<12}" + "".join(f"{_cell(here, slip):>20}" for slip in (CLEAN, *BLUNDERS)) + "\n")
    for slip in (CLEAN, *BLUNDERS):
        counts = Counter(f"{flag}, {f[2]}" if f[2] else flag for f in found if f[1] == slip for flag in f[3])
        sys.stdout.write(f"{slip}: {dict(counts.most_common())}\n")
    return 0


def _cell(found: list[Found], slip: str) -> str:
    of = [f for f in found if f[1] == slip]
    noticed = counted(of, lambda f: bool(f[3]))
    return f"{noticed.hits}/{noticed.of}, {sum(f[4] for f in of)} named"


def slips_of(job: tuple[str, int, int, Path | None]) -> list[Found]:
    """A round as it is, and with each slip made in it."""
    world, seed, number, noise = job
    key = [seed, sorted(WORLDS).index(world), number]
    spec = WORLDS[world].draw(np.random.default_rng(key))
    if noise is not None:
        spec = in_recorded_shop(np.random.default_rng([*key, 7]), spec, noise, "tune")
    facts = spec.facts
    made: Mapping[str, Clips] = {CLEAN: clean(spec)} | {
        slip: make(np.random.default_rng([*key, i]), spec)
        for i, (slip, make) in enumerate(BLUNDERS.items())
        if make is not swapped_throughout or any(t.kind is Kind.SOUND for p in spec.points for t in p.takes)
    }
    mishap = spec.background.name.partition(", ")[2]
    known: dict[tuple[object, ...], PointTakes] = {}
    return [(world, slip, mishap, *_judged(clips, facts, known)) for slip, clips in made.items()]


def _judged(clips: Clips, facts: Facts, known: dict[tuple[object, ...], PointTakes]) -> tuple[tuple[str, ...], bool]:
    by_point: dict[str, list[tuple[Kind, Clip]]] = {}
    for (name, kind, _), clip in clips.items():
        by_point.setdefault(name, []).append((kind, clip))
    points = []
    for p in sorted(by_point, key=walking_order):
        key = (p, *((kind, id(clip)) for kind, clip in by_point[p]))
        known[key] = known.get(key) or measure_point(p, by_point[p])  # most points are as in the clean round
        points.append(known[key])
    result = judge_points("", points, facts, taught="others")
    flags = [b.flag.flag for b in blunders(points)]
    told = ("air-unproven", "air-not-heard", "part-of-the-time")
    flags += [f.flag for p in result.points for f in p.flags if f.flag in told]
    return tuple(flags), result.verdict.kind in ("path", "several")
