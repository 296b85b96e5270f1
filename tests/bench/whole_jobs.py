"""Whole jobs: rounds of one engine judged alone, and with what the other cylinders' rounds say of it."""

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import msgspec
import numpy as np

from listen.bench.accuracy.measured import Measured, clips_of, forecast, helped, measure_clips
from listen.bench.accuracy.scores import Forecast, Scores, score
from listen.bench.accuracy.workers import spread
from listen.cli.commands import seed as any_seed
from listen.cli.commands import whole
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.worlds import WORLDS
from listen.lab.simulator.worlds.carrying import Common, firing_order
from listen.lab.simulator.worlds.world import Wishes, World
from listen.rate import Rate
from listen.rounds.model import Facts

SUMMARY = "rounds of whole jobs of every world, judged alone and with what was learnt of their engine"
EXAMPLE = "python -m tests jobs --rounds-drawn 60"
CYLINDERS = (4, 6)
"""Rounds a job, as far as the engine has cylinders."""


class JobScores(msgspec.Struct, frozen=True, kw_only=True):
    """One world, scored twice over the same rounds."""

    world: str
    alone: Scores
    learnt: Scores


@dataclass(frozen=True, slots=True)
class WorldJob:
    """One job of a world to be drawn."""

    world: str
    seed: int
    number: int


def jobs(rounds: int, seed: int, workers: int) -> tuple[JobScores, ...]:
    """Score about so many rounds of every world; the world in which learning costs most log loss comes first."""
    each = -(-rounds // CYLINDERS[1])
    found = []
    for world in WORLDS:
        pairs = [p for job in spread(judged, [WorldJob(world, seed, n) for n in range(each)], workers) for p in job]
        alone, learnt = zip(*pairs, strict=True)
        found.append(JobScores(world=world, alone=score(alone), learnt=score(learnt)))
    return tuple(sorted(found, key=lambda j: j.alone.log_loss - j.learnt.log_loss))


def judged(job: WorldJob) -> list[tuple[Forecast, Forecast]]:
    """Every round of a job, judged alone and with all others."""
    return judge_rounds([Measured(spec, measure_clips(clips_of(spec))) for spec in _drawn(job)])


def _drawn(job: WorldJob) -> Sequence[RoundSpec]:
    rng = np.random.default_rng([job.seed, sorted(WORLDS).index(job.world), job.number, 1])
    cylinders = int(rng.integers(CYLINDERS[0], CYLINDERS[1] + 1))
    return job_of(WORLDS[job.world], rng, cylinders, f"{job.world}-{job.number}")


def job_of(world: World, rng: np.random.Generator, rounds: int, name: str) -> tuple[RoundSpec, ...]:
    """Draw rounds of one engine, a cylinder each: one shop, tester and microphone, what is wrong drawn for each."""
    common = Common()
    cylinders = range(1, min(rounds, len(firing_order(rng, common))) + 1)
    return tuple(world.draw(rng, f"{name}-{n}", common, Wishes(cylinder=n)) for n in cylinders)


def judge_rounds(rounds: Sequence[Measured]) -> list[tuple[Forecast, Forecast]]:
    """Forecasts of measured rounds of one engine, alone and learnt; the loss of the others is known to both."""
    from listen.rounds.evaluate import judge_points

    facts = [_facts(rounds, i) for i in range(len(rounds))]
    alone = [judge_points(r.spec.name, r.points, f, (), taught="others") for r, f in zip(rounds, facts, strict=True)]
    said = [result.engine for result in alone]
    out = []
    for i, (r, f) in enumerate(zip(rounds, facts, strict=True)):
        others = [s for j, s in enumerate(said) if j != i and s is not None]
        after = judge_points(r.spec.name, r.points, f, others, taught="others")
        pair = [forecast(x, r.truth, r.spec.background.name, helped(r.points, r.spec.facts)) for x in (alone[i], after)]
        out.append((pair[0], pair[1]))
    return out


def _facts(rounds: Sequence[Measured], i: int) -> Facts:
    losses = [x for j, r in enumerate(rounds) if j != i and (x := r.spec.facts.loss_percent) is not None]
    others = median(losses) if losses else None
    return msgspec.structs.replace(rounds[i].spec.facts, cylinder=i + 1, loss_others_percent=others)


def jobs_table(found: Sequence[JobScores]) -> str:
    """A line a world and way."""
    head = f"{'':<10}{'rounds':>7}{'':>9}{'right of named':>17}{'named':>9}{'false calls':>13}"
    head += f"{'Brier':>8}{'log loss':>10}\n"
    out = ["rounds of whole jobs, judged alone and with what was learnt of their engine\n", head]
    for j in found:
        for name, s in (("alone", j.alone), ("learnt", j.learnt)):
            out.append(
                f"{j.world:<10}{s.rounds:>7}{name:>9}{_count(s.right):>17}{_count(s.coverage):>9}"
                f"{_count(s.false_calls):>13}{s.brier:>8.3f}{s.log_loss:>10.3f}\n"
            )
    return "".join(out)


def _count(rate: Rate) -> str:
    return f"{rate.hits}/{rate.of}"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of the run."""
    parser.add_argument("--rounds-drawn", type=whole(1, 10**6), default=60, help="rounds a world, about (default 60)")
    parser.add_argument("--seed", type=any_seed, default=1, help="seed of everything drawn (default 1)")
    parser.add_argument("--workers", type=whole(1, 1024), default=os.cpu_count() or 1, help="processes")


def run(args: argparse.Namespace) -> int:
    """Measure and print."""
    sys.stdout.write(jobs_table(jobs(args.rounds_drawn, args.seed, args.workers)))
    return 0
