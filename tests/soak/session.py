"""Endurance: a day in a shop of three people, or clips by the thousand in one session; nothing may be lost or grow."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from listen.cli.commands import seed, whole
from listen.errors import HisswayError
from tests.jobs.short import begin_round
from tests.soak.pair import pair
from tests.soak.pair import table as pair_table
from tests.soak.shop import day
from tests.soak.shop import table as day_table
from tests.soak.size import MEMORY_BAR, Size, flat, growth, size

if TYPE_CHECKING:
    from listen.jobs.folder.open_job import OpenJob
    from listen.lab.simulator.scene import RoundSpec
    from listen.lab.simulator.simulated_microphone import SimulatedMicrophone
    from listen.rounds.analyst import Analyst

SUMMARY = "two bays and a supervisor on one shared folder, or clips by the thousand in one session; nothing may grow"
EXAMPLE = "python -m tests soak --minutes 60"

CLIPS = 2_000
CLIP_S = 1.0
"""Sound in each clip; long enough to be measured, short enough for thousands."""
POINTS = ("intake", "tailpipe", "oil-filler")
WALKS = ("quiet", "air", "closing")
"""A round is walked so at every point."""
ROUNDS_A_JOB = 20
"""A long day's work, then the next job is opened."""


class Soak(msgspec.Struct, frozen=True, kw_only=True):
    """What the bench found."""

    clips: int
    rounds: int
    seconds: float
    sizes: tuple[Size, ...]
    """After each round."""

    @property
    def grown(self) -> tuple[float, int, int]:
        """Memory as a ratio, handles and threads as a difference; see :mod:`tests.soak.size`."""
        return growth(self.sizes)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests soak``."""
    parser.add_argument("--minutes", type=whole(1, 10**4), help="a day of so many minutes in the shop, not a session")
    parser.add_argument("--pair", type=whole(1, 10**4), help="two programs on one job for so many minutes")
    parser.add_argument("--clips", type=whole(1, 10**7), default=CLIPS, help=f"clips to record (default {CLIPS})")
    parser.add_argument("--seed", type=seed, default=1, help="seed of the simulated rounds (default 1)")
    parser.add_argument("--json", action="store_true", help="one JSON object instead of the table")


def run(args: argparse.Namespace) -> int:
    """Run the session and print; exit code 1 where something grew."""
    if not Path("/proc/self/statm").exists():
        raise HisswayError("soak reads memory and handles from /proc, which only Linux has")
    with tempfile.TemporaryDirectory(prefix="hissway-soak-") as root:
        if args.pair:
            shared = pair(Path(root), 60.0 * args.pair, args.seed)
            sys.stdout.write(json.dumps(msgspec.to_builtins(shared)) + "\n" if args.json else pair_table(shared))
            return 0 if shared.well else 1
        if args.minutes:
            found = day(Path(root), 60.0 * args.minutes, args.seed)
            words, well = day_table(found), found.well
        else:
            found = measure(Path(root), args.clips, args.seed)
            words, well = table(found), flat(found.grown)
    sys.stdout.write(json.dumps(msgspec.to_builtins(found)) + "\n" if args.json else words)
    return 0 if well else 1


def measure(root: Path, clips: int, seed: int) -> Soak:
    """Record, keep, check and judge ``clips`` clips under ``root``."""
    from listen.rounds.analyst import Analyst

    began = time.monotonic()
    sizes: list[Size] = []
    analyst = Analyst()
    kept = rounds = 0
    try:
        while kept < clips:
            job = _new_job(root, rounds)
            with job:
                for _ in range(ROUNDS_A_JOB):
                    kept += _one_round(job, analyst, seed, rounds)
                    rounds += 1
                    sizes.append(size())
                    if kept >= clips:
                        break
    finally:
        analyst.close()
    return Soak(clips=kept, rounds=rounds, seconds=time.monotonic() - began, sizes=tuple(sizes))


def _new_job(root: Path, number: int) -> OpenJob:
    from listen.jobs.folder.store import create_job

    return create_job(root, title=f"soak {number}", simulated=True, actor="soak")


def _one_round(job: OpenJob, analyst: Analyst, seed: int, number: int) -> int:
    """Walk one simulated round, check every clip as it is kept, judge at the end; gives the clips kept."""
    from listen.jobs.to_round import to_round
    from listen.lab.simulator.simulated_microphone import SimulatedMicrophone

    spec = _scene(seed, number)
    microphone = SimulatedMicrophone(spec, pace=0)
    microphone.open()
    round_id = begin_round(job, 1 + number % 4)
    quiet: dict[str, Path] = {}
    for walk in WALKS:
        for point in POINTS:
            clip = _one_clip(job, microphone, round_id, point, walk)
            checked = analyst.check(clip, point, quiet.get(point) if walk == "air" else None)
            if walk == "quiet":
                quiet[point] = clip
            checked.result()
            microphone.drain()
    microphone.close()
    analyst.evaluate(to_round(job.job, round_id, job.folder)).result()
    return len(WALKS) * len(POINTS)


def _one_clip(job: OpenJob, microphone: SimulatedMicrophone, round_id: str, point: str, walk: str) -> Path:
    from listen.trade.points import Kind

    kind = Kind.AIR if walk == "air" else Kind.QUIET
    microphone.hold_at((point,), kind)
    part = job.new_part(round_id, point, kind, walk)
    (recording,) = microphone.record([part.path], CLIP_S, threading.Event())
    job.keep(part, recording)
    return job.clip_path(part.clip)


def _scene(seed: int, number: int) -> RoundSpec:
    import numpy as np

    from listen.lab.simulator.draw import draw
    from listen.lab.simulator.worlds.world import Wishes
    from listen.trade.points import Kind

    takes = (Kind.QUIET, Kind.AIR, Kind.QUIET)
    wishes = Wishes(points=POINTS, seconds=CLIP_S, takes=takes, rate_hz=48_000)
    return draw(np.random.default_rng([seed, number]), "report", wishes=wishes)


def table(found: Soak) -> str:
    """The figures in words and columns."""
    lines = [f"{found.clips} clips of {CLIP_S:g} s in {found.rounds} rounds, {found.seconds:.0f} s:"]
    lines += [
        f"  after {n:6} rounds {s[0]:7.1f} MB {s[1]:4} handles {s[2]:3} threads"
        for n, s in list(enumerate(found.sizes, 1))[:: max(1, len(found.sizes) // 10)]
    ]
    memory, handles, threads = found.grown
    lines.append(
        f"after the warm-up memory grew to {memory:.3f} times (bar {MEMORY_BAR}), "
        f"handles by {handles}, threads by {threads}: {'flat' if flat(found.grown) else 'NOT FLAT'}"
    )
    return "\n".join(lines) + "\n"
