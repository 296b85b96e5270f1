"""Endurance: clips by the thousand recorded, kept and judged in one session; memory and handles must stay flat."""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import threading
import time
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

import msgspec

from listen.errors import HisswayError
from listen.whole_number import seed, whole

if TYPE_CHECKING:
    from listen.jobs.folder.open_job import OpenJob
    from listen.lab.simulator.scene import RoundSpec
    from listen.lab.simulator.simulated_microphone import SimulatedMicrophone
    from listen.rounds.analyst import Analyst

SUMMARY = "record and judge clips by the thousand in one session; memory and file handles must stay flat"
EXAMPLE = "python -m tests soak --clips 500"

CLIPS = 2_000
CLIP_S = 1.0
"""Sound in each clip; long enough to be measured, short enough for thousands."""
POINTS = ("intake", "tailpipe", "oil-filler")
WALKS = ("quiet", "air", "closing")
"""A round is walked so at every point."""
ROUNDS_A_JOB = 20
"""A long day's work, then the next job is opened."""
WARM_UP = 0.2
"""Share of the clips after which memory must no longer grow: imports, caches and pools have filled."""
MEMORY_BAR = 1.05
"""Memory at the end over memory after the warm-up."""


class Sample(msgspec.Struct, frozen=True, kw_only=True):
    """The session at one moment."""

    clips: int
    """Kept so far."""
    memory_mb: float
    """Resident, this process and the one that analyses."""
    handles: int
    """Open files and sockets of this process."""
    threads: int


class Soak(msgspec.Struct, frozen=True, kw_only=True):
    """What the bench found."""

    clips: int
    rounds: int
    seconds: float
    memory_growth: float
    """Median memory of the last fifth over that of the first fifth after the warm-up."""
    handle_growth: int
    thread_growth: int
    samples: tuple[Sample, ...]

    @property
    def flat(self) -> bool:
        """Whether the bar is met."""
        return self.memory_growth <= MEMORY_BAR and self.handle_growth <= 0 and self.thread_growth <= 0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests soak``."""
    parser.add_argument("--clips", type=whole(1, 10**7), default=CLIPS, help=f"clips to record (default {CLIPS})")
    parser.add_argument("--seed", type=seed, default=1, help="seed of the simulated rounds (default 1)")
    parser.add_argument("--json", action="store_true", help="one JSON object instead of the table")


def run(args: argparse.Namespace) -> int:
    """Run the session and print; exit code 1 where something grew."""
    if not Path("/proc/self/statm").exists():
        raise HisswayError("soak reads memory and handles from /proc, which only Linux has")
    with tempfile.TemporaryDirectory(prefix="hissway-soak-") as root:
        found = measure(Path(root), args.clips, args.seed)
    sys.stdout.write(json.dumps(msgspec.to_builtins(found)) + "\n" if args.json else table(found))
    return 0 if found.flat else 1


def measure(root: Path, clips: int, seed: int) -> Soak:
    """Record, keep, check and judge ``clips`` clips under ``root``."""
    from listen.rounds.analyst import Analyst

    began = time.monotonic()
    samples: list[Sample] = []
    analyst = Analyst()
    kept = rounds = 0
    try:
        while kept < clips:
            job = _new_job(root, rounds)
            with job:
                for _ in range(ROUNDS_A_JOB):
                    kept += _one_round(job, analyst, seed, rounds)
                    rounds += 1
                    samples.append(_sample(kept))
                    if kept >= clips:
                        break
    finally:
        analyst.close()
    return _summed_up(kept, rounds, time.monotonic() - began, samples)


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
    round_id = job.open_round(1 + number % 4)
    quiet: dict[str, Path] = {}
    for walk in WALKS:
        for point in POINTS:
            clip = _one_clip(job, microphone, round_id, point, walk)
            checked = analyst.check(clip, quiet.get(point) if walk == "air" else None)
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
    microphone.aim(point, kind)
    part = job.new_part(round_id, point, kind, walk)
    recording = microphone.record(part.path, CLIP_S, threading.Event())
    job.keep(part, recording)
    return job.clip_path(part.clip)


def _scene(seed: int, number: int) -> RoundSpec:
    import numpy as np

    from listen.lab.simulator.draw import Wishes, draw
    from listen.trade.points import Kind

    takes = (Kind.QUIET, Kind.AIR, Kind.QUIET)
    wishes = Wishes(points=POINTS, seconds=(CLIP_S, CLIP_S), takes=takes, rate_hz=48_000)
    return draw(np.random.default_rng([seed, number]), "report", wishes=wishes)


def _sample(clips: int) -> Sample:
    pids = [os.getpid(), *_children()]
    return Sample(
        clips=clips,
        memory_mb=sum(_resident_mb(pid) for pid in pids),
        handles=len(list(Path("/proc/self/fd").iterdir())),
        threads=threading.active_count(),
    )


def _children() -> list[int]:
    """Process ids started from here: the analyst's among them."""
    task = Path("/proc/self/task")
    return [int(pid) for thread in task.iterdir() for pid in (thread / "children").read_text().split()]


def _resident_mb(pid: int) -> float:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    except OSError:  # it has ended meanwhile
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _summed_up(clips: int, rounds: int, seconds: float, samples: list[Sample]) -> Soak:
    after = samples[int(len(samples) * WARM_UP) :]
    fifth = max(1, len(after) // 4)
    first, last = after[:fifth], after[-fifth:]
    return Soak(
        clips=clips,
        rounds=rounds,
        seconds=seconds,
        memory_growth=median(s.memory_mb for s in last) / median(s.memory_mb for s in first),
        handle_growth=max(s.handles for s in last) - max(s.handles for s in first),
        thread_growth=max(s.threads for s in last) - max(s.threads for s in first),
        samples=tuple(samples),
    )


def table(found: Soak) -> str:
    """The figures in words and columns."""
    lines = [f"{found.clips} clips of {CLIP_S:g} s in {found.rounds} rounds, {found.seconds:.0f} s:"]
    lines += [
        f"  after {s.clips:6} clips {s.memory_mb:7.1f} MB {s.handles:4} handles {s.threads:3} threads"
        for s in found.samples[:: max(1, len(found.samples) // 10)]
    ]
    lines.append(
        f"after the warm-up memory grew to {found.memory_growth:.3f} times (bar {MEMORY_BAR}), "
        f"handles by {found.handle_growth}, threads by {found.thread_growth}: {'flat' if found.flat else 'NOT FLAT'}"
    )
    return "\n".join(lines) + "\n"
