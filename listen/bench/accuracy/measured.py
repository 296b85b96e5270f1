"""Rounds of a world as band numbers: drawn, rendered and measured once, kept in a folder for the next judge."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

import numpy as np

import listen
from listen.bench.accuracy.scores import Forecast
from listen.bench.accuracy.workers import spread
from listen.judge.result import RoundResult
from listen.judge.taught import By
from listen.lab.simulator.draw import in_recorded_shop
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.worlds import WORLDS
from listen.rounds.evaluate import judge_points
from listen.rounds.model import SWITCHED_KINDS, Facts
from listen.rounds.switching import timed
from listen.signal.clip import Clip
from listen.signal.point import PointTakes, measure_point
from listen.signal.switched_clip import SwitchedClip
from listen.signal.switching import commanded_times
from listen.trade.points import Kind, walking_order

MEASURING = ("signal/**/*", "lab/simulator/**/*", "trade/**/*", "rounds/switching.py")
"""What is kept is of no use once one of these files has changed."""

Clips = Mapping[str, Sequence[tuple[Kind, Clip]]]
"""By point, in walking order."""
Taken = Callable[[RoundSpec, np.random.Generator], RoundSpec]
TOLD = commanded_times(4, 5.0)
"""When a switched take is told to turn the valve: as the Round screen leads them."""


@dataclass(frozen=True, slots=True)
class WorldRound:
    world: str
    seed: int
    number: int
    kept_in: Path | None = None
    taken: Taken | None = None
    """How it is taken instead of by the walks that were drawn."""
    noise: Path | None = None
    """Folder of recordings in whose shops it is drawn, with other leaks and ducts than the world's."""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    spec: RoundSpec
    points: tuple[PointTakes, ...]

    @property
    def truth(self) -> frozenset[str]:
        return frozenset(map(str, self.spec.truth.paths))


@cache
def _state() -> str:
    digest = sha256()
    root = Path(listen.__file__).parent
    for pattern in MEASURING:
        for file in sorted(root.glob(pattern)):
            if file.suffix in (".py", ".toml"):
                digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def drawn(job: WorldRound) -> RoundSpec:
    """Draw a round; the same job gives the same round, and the same engine and shop switched as walked."""
    seed = [job.seed, sorted(WORLDS).index(job.world), job.number]
    spec = WORLDS[job.world].draw(np.random.default_rng(seed), f"{job.world}-{job.number}")
    if job.noise is not None:
        spec = in_recorded_shop(np.random.default_rng([*seed, 2]), spec, job.noise)
    return job.taken(spec, np.random.default_rng([*seed, 1])) if job.taken is not None else spec


def measured(job: WorldRound) -> Measured:
    """Draw, render and measure a round, or read what was kept of it: of the same job by the same code."""
    if job.kept_in is None:
        return _measure(job, "")
    from joblib import Memory

    found: Measured = Memory(job.kept_in, verbose=0).cache(_measure)(job, _state())
    return found


def _measure(job: WorldRound, code: str) -> Measured:
    # ``code`` is for the cache alone: what other code measured is another entry.
    spec = drawn(job)
    return Measured(spec, measure_clips(clips_of(spec)))


def clips_of(spec: RoundSpec) -> Clips:
    """A round's clips by point, in walking order."""
    rendered = render(spec)
    points = sorted({p for p, _, _ in rendered}, key=walking_order)
    return {point: [(kind, c) for (p, kind, _), c in rendered.items() if p == point] for point in points}


def measure_clips(clips: Clips) -> tuple[PointTakes, ...]:
    """Band numbers of each point; switched takes are timed by ``TOLD``."""

    def point(name: str) -> PointTakes:
        walked = [(k, c) for k, c in clips[name] if k not in SWITCHED_KINDS]
        switched = [SwitchedClip(k, c, timed([c], TOLD)[0].timeline) for k, c in clips[name] if k in SWITCHED_KINDS]
        return measure_point(name, walked, switched)

    return tuple(map(point, clips))


def ours(
    points: Sequence[PointTakes], facts: Facts, truth: frozenset[str], background: str, taught: By = "others"
) -> Forecast:
    """What our method says of a round. Worlds and recorded shops are the bench's own: no round of theirs taught it."""
    return forecast(judge_points("", points, facts, taught=taught), truth, background, helped(points, facts))


def helped(points: Sequence[PointTakes], facts: Facts) -> bool:
    """Whether a sound cylinder's clips and a loss reading are there."""
    return facts.loss_percent is not None and any(Kind.SOUND in p.takes for p in points)


def hissway(round_: Measured) -> Forecast:
    return ours(round_.points, round_.spec.facts, round_.truth, round_.spec.background.name)


def forecast(result: RoundResult, truth: frozenset[str], background: str, helped: bool) -> Forecast:
    """A result as it is scored: a path counts as named where the verdict names it."""
    verdict = result.verdict
    return Forecast(
        truth,
        {str(p.path): p.probability for p in result.paths},
        {str(p.path): p.involved for p in result.paths},
        () if verdict.kind == "unclear" else tuple(map(str, verdict.paths)),
        background,
        verdict.probability,
        helped,
    )


def _judged(job: WorldRound) -> Forecast:
    return hissway(measured(job))


def judge_world(
    world: str,
    rounds: int,
    seed: int,
    workers: int,
    kept_in: Path | None,
    *,
    taken: Taken | None = None,
    noise: Path | None = None,
) -> Sequence[Forecast]:
    return spread(_judged, [WorldRound(world, seed, i, kept_in, taken, noise) for i in range(rounds)], workers)
