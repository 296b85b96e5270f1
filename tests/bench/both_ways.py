"""Every world taken both ways: by walks, and with the air switched at each point by a hand that is late and uneven; or
switched alone by hands that are worse than that, to see whether any makes a false name."""

import argparse
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import msgspec
import numpy as np

from listen.bench.accuracy.measured import TOLD, Taken, WorldRound, hissway, judge_world, measured
from listen.bench.accuracy.scores import Scores, score
from listen.bench.accuracy.sections import percent
from listen.cli.commands import seed as any_seed
from listen.cli.commands import whole
from listen.lab.simulator.scene import RoundSpec, Switched
from listen.lab.simulator.switching_hand import Hand, as_switched
from listen.trade.points import Kind

SUMMARY = "every world by walks and with the air switched, side by side"
EXAMPLE = "python -m tests both-ways --rounds-drawn 100"

WANDER_S = 60.0
LEAST_WANDER_DB = 0.1
DECAY_S = (0.15, 1.0)
MISSES, FORGETS = 0.1, 0.02
"""Share of takes with a cycle missed, and of rounds in which nobody turns the valve."""


class BothWays(msgspec.Struct, frozen=True, kw_only=True):
    """One world, scored twice over the same engines and shops."""

    world: str
    walks: Scores
    switched: Scores


def switched(spec: RoundSpec, rng: np.random.Generator, by: Hand | None = None) -> RoundSpec:
    """A drawn round as it is when the air is switched, by a usual hand or by the one stated: the shop's level wanders
    within a take by as much as it did from clip to clip of the walks. Its colour and single bands, which moved between
    clips, stand still."""
    drift = [t.drift_db for p in spec.points for t in p.takes if t.kind in (Kind.QUIET, Kind.AIR)]
    forgets = bool(rng.random() < FORGETS) if by is None else by.forgets
    reaction_s = float(rng.uniform(0.1, 0.5))
    decay_s = float(np.exp(rng.uniform(*np.log(DECAY_S))))
    how = {}
    for p in spec.points:
        hand = by or Hand((reaction_s, reaction_s + 0.1), misses=int(rng.random() < MISSES), forgets=forgets)
        how[p.point] = Switched(
            on_s=hand.turns(rng, TOLD),
            decay_s=decay_s,
            wander_db=max(float(np.std(drift)), LEAST_WANDER_DB),
            wander_s=WANDER_S,
        )
    found = as_switched(spec, TOLD, how)
    facts = msgspec.structs.replace(found.facts, air_followed=not forgets)  # the screen asks, whoever looks can tell
    return msgspec.structs.replace(found, facts=facts)


def even(spec: RoundSpec, rng: np.random.Generator) -> RoundSpec:
    """By a hand as good as a machine's."""
    return switched(spec, rng, Hand((0.3, 0.3), jitter_s=0.0))


def late(spec: RoundSpec, rng: np.random.Generator) -> RoundSpec:
    """Half a second to a whole one behind the tones."""
    return switched(spec, rng, Hand((0.5, 1.0)))


def uneven(spec: RoundSpec, rng: np.random.Generator) -> RoundSpec:
    """Off by 0.3 s from turn to turn."""
    return switched(spec, rng, Hand(jitter_s=0.3))


def missing(spec: RoundSpec, rng: np.random.Generator) -> RoundSpec:
    """One turn in four left out at every point."""
    return switched(spec, rng, Hand(misses=1))


def forgetting(spec: RoundSpec, rng: np.random.Generator) -> RoundSpec:
    """Never turns the valve."""
    return switched(spec, rng, Hand(forgets=True))


HANDS: tuple[Taken, ...] = (even, late, uneven, missing, forgetting)


def by_hands(rounds: int, seed: int, kept_in: Path | None) -> Iterator[str]:
    """The same rounds, of one world after the other, by each hand; a line for each false name, at last the counts."""
    from listen.lab.simulator.worlds import WORLDS

    counts = {taken.__name__: [0, 0, 0.0] for taken in HANDS}
    for i in range(rounds):
        world = sorted(WORLDS)[i % len(WORLDS)]
        for taken in HANDS:
            found, count = hissway(measured(WorldRound(world, seed, i, kept_in, taken))), counts[taken.__name__]
            if not found.named:
                continue
            count[0] += 1
            count[2] += 1.0 - found.stated
            if not found.right:
                count[1] += 1
                named, truth = ", ".join(found.named), ", ".join(sorted(found.truth))
                yield f"{world} {i}, {taken.__name__}: {named} at {100 * found.stated:.0f} %, in truth {truth}\n"
    for name, (named, false, expected) in counts.items():
        yield f"{name:<12}{rounds:>5} rounds{named:>5} named{false:>4} falsely, {expected:.1f} by their own odds\n"


def both_ways(rounds: int, seed: int, workers: int, kept_in: Path | None) -> Iterator[BothWays]:
    """Score rounds of every world, walked and switched; a world at a time, since all of them take hours."""
    from listen.lab.simulator.worlds import WORLDS

    for name in WORLDS:
        yield BothWays(
            world=name,
            walks=score(judge_world(name, rounds, seed, workers, kept_in)),
            switched=score(judge_world(name, rounds, seed, workers, kept_in, taken=switched)),
        )


def _row(r: BothWays) -> str:
    a, b = r.walks, r.switched
    return (
        f"{r.world:<22}{percent(a.coverage):>8} |{percent(b.coverage):>6}"
        f"{percent(a.right):>12} |{percent(b.right):>6}"
        f"{percent(a.false_calls):>10} |{percent(b.false_calls):>6}{a.log_loss:>10.3f} |{b.log_loss:>6.3f}\n"
    )


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests both-ways``."""
    parser.add_argument("--rounds-drawn", type=whole(1, 10**6), default=200, help="rounds a world (default 200)")
    parser.add_argument("--seed", type=any_seed, default=1, help="seed of everything drawn (default 1)")
    parser.add_argument("--hands", action="store_true", help="instead: so many rounds over all worlds, by each hand")
    parser.add_argument("--cache", type=Path, metavar="DIR", help="keep here what was measured")
    parser.add_argument(
        "--workers", type=whole(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )


def run(args: argparse.Namespace) -> int:
    """Score and print, each world as it is done."""
    if args.hands:
        for line in by_hands(args.rounds_drawn, args.seed, args.cache):
            sys.stdout.write(line)
            sys.stdout.flush()
        return 0
    sys.stdout.write(
        f"{args.rounds_drawn} rounds of every world taken both ways: walks | air switched\n"
        f"{'':<22}{'named %':>16}{'right of named %':>20}{'false calls %':>18}{'log loss':>18}\n"
    )
    for row in both_ways(args.rounds_drawn, args.seed, args.workers, args.cache):
        sys.stdout.write(_row(row))
        sys.stdout.flush()
    return 0
