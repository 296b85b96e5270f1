"""Rounds of a world as band numbers: drawn, rendered and measured once, kept in a folder for the next judge."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

import msgspec
import numpy as np

import listen
from listen.bench.accuracy.forecast import Forecast
from listen.bench.accuracy.workers import spread
from listen.judge.result import RoundResult
from listen.lab.simulator.scene import RoundSpec
from listen.rounds.model import Facts
from listen.signal.clip import Clip
from listen.signal.point import PointTakes
from listen.trade.points import Kind, walking_order

MEASURING_ROOMS = ("signal", "lab/simulator", "trade")
"""What is kept is of no use once a file of these rooms has changed."""


@dataclass(frozen=True, slots=True)
class WorldRound:
    """One round of a world to be drawn."""

    world: str
    seed: int
    number: int
    kept_in: Path | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One round as band numbers, with its truth."""

    spec: RoundSpec
    points: tuple[PointTakes, ...]
    """In walking order."""

    @property
    def facts(self) -> Facts:
        """Readings beside the clips."""
        return msgspec.convert(msgspec.to_builtins(self.spec.facts), Facts)

    @property
    def truth(self) -> frozenset[str]:
        """Paths at work."""
        return frozenset(map(str, self.spec.truth.paths))

    @property
    def helped(self) -> bool:
        """Whether a sound cylinder's clips and a loss reading are there."""
        has_sound = any(take.kind is Kind.SOUND for p in self.spec.points for take in p.takes)
        return has_sound and self.spec.facts.loss_percent is not None


Judge = Callable[[Measured], Forecast]


@cache
def _state() -> str:
    """A digest of everything that measures and draws."""
    digest = sha256()
    root = Path(listen.__file__).parent
    for room in MEASURING_ROOMS:
        for file in sorted((root / room).rglob("*")):
            if file.suffix in (".py", ".toml"):
                digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def drawn(job: WorldRound) -> RoundSpec:
    """Draw a round; the same job gives the same round."""
    from listen.lab.simulator.worlds import WORLDS

    place = sorted(WORLDS).index(job.world)
    return WORLDS[job.world].draw(np.random.default_rng([job.seed, place, job.number]), f"{job.world}-{job.number}")


def measured(job: WorldRound) -> Measured:
    """Draw, render and measure a round, or read what was kept of it."""
    file = None if job.kept_in is None else job.kept_in / f"{job.world}-{job.seed}-{job.number}-{_state()}.pickle"
    if file is not None and file.exists():
        found = pickle.loads(file.read_bytes())  # noqa: S301 (written here, in a folder of the developer's own)
        assert isinstance(found, Measured)
        return found
    spec = drawn(job)
    found = Measured(spec, measure_spec(spec))
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(".part")
        part.write_bytes(pickle.dumps(found, protocol=pickle.HIGHEST_PROTOCOL))
        part.replace(file)
    return found


def measure_spec(spec: RoundSpec) -> tuple[PointTakes, ...]:
    """Render a round and measure its points, in walking order."""
    from listen.lab.simulator.render import render
    from listen.signal.point import measure_point

    clips: dict[str, list[tuple[Kind, Clip]]] = {}
    for (name, kind, _), clip in render(spec).items():
        clips.setdefault(name, []).append((kind, clip))
    return tuple(measure_point(p, clips[p]) for p in sorted(clips, key=walking_order))


def hissway(round_: Measured) -> Forecast:
    """What our own judge says of a round."""
    from listen.rounds.evaluate import judge_points

    result = judge_points(round_.spec.name, round_.points, round_.facts)
    return forecast(result, round_.truth, round_.spec.background.name, round_.helped)


def forecast(result: RoundResult, truth: frozenset[str], background: str, helped: bool) -> Forecast:
    """A result as it is scored: a path counts as named where the verdict names it."""
    said = result.verdict
    return Forecast(
        truth,
        {str(p.path): p.probability for p in result.paths},
        {str(p.path): p.involved for p in result.paths},
        () if said.kind == "unclear" else tuple(map(str, said.paths)),
        background,
        said.probability,
        helped,
    )


def _judged(job: tuple[Judge, WorldRound]) -> Forecast:
    judge, round_ = job
    return judge(measured(round_))


def judge_world(
    world: str, rounds: int, seed: int, workers: int, kept_in: Path | None, judge: Judge = hissway
) -> Sequence[Forecast]:
    """A judge's forecasts on rounds of one world."""
    return spread(_judged, [(judge, WorldRound(world, seed, i, kept_in)) for i in range(rounds)], workers)
