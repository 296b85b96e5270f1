"""What could be known at all: a reader who has seen thousands of rounds of this very world, with its truth.

The reader is no rival and no part of the product: it is given each point's true level but for some tenths of a decibel,
all readings, and the truth of other rounds of the same world. Where even it cannot name a path, nature forbids it.
Boosted trees (Friedman 2001, as scikit-learn has them, which librosa brings) read tables with gaps without any
assumption about the world, which is what is wanted here. Of the same rounds randomised trees named a fifth to a half.

Symbols: n rounds, F features, H paths.
"""

import argparse
import math
import os
import sys
from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.bench.accuracy.measured import WorldRound, drawn
from listen.bench.accuracy.scores import ALL_PATHS, augrc
from listen.bench.accuracy.workers import spread
from listen.cli.commands import seed as any_seed
from listen.cli.commands import whole
from listen.judge.verdict import NAME_AT
from listen.lab.simulator.scene import PointSpec, RoundSpec
from listen.trade.points import Kind, point
from listen.trade.transfer import valves_open
from tests.bench.ideal_levels import Level, ideal_levels

SUMMARY = "what could be known at all: rounds a reader could name who was taught thousands of the same world"
EXAMPLE = "python -m tests ceiling --rounds-drawn 200"

SEEN = 2500
"""Rounds of the world whose truth the reader knows."""
STEADY_DB = 0.3
"""How well it knows each excess: what some tenths of drift leave after quiet, air, quiet."""
STEPS, RATE, LEAVES, LEAF, SHRINK = 200, 0.05, 10, 20, 3.0
"""Boosting stops by itself where a tenth of what it is taught, held back, gains no more."""
LEAST = 1e-3
"""Odds it never goes below: a leaf that has not met a path does not rule it out."""
RIGHT = 0.97
"""The bar on what is named."""
SLOTS = ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole", "breather")
TINY = 1e-14
"""Linear power nobody hears."""
GAP = math.nan
"""Stands for what was not taken or not noted."""
PLACE = 7_919
"""Keeps its rounds apart from those that judges are scored on."""


class Ceiling(msgspec.Struct, frozen=True, kw_only=True):
    """What a reader reaches in one world."""

    world: str
    taught: str
    """``itself``, or ``others``: the same reader, taught all worlds but this one."""
    rounds: int
    named: float
    """Share of rounds in which it holds a path to be ``NAME_AT`` likely and more ..."""
    right_of_named: float
    """... and how many of those are right; not a number where there are none."""
    top_right: float
    """Share of rounds whose most likely path is truly there."""
    nameable: float
    """The largest share of rounds, the surest first, of which ``RIGHT`` are right."""
    log_loss: float
    brier: float
    augrc: float


def ceilings(rounds: int, seed: int, workers: int) -> tuple[Ceiling, ...]:
    """Every world, the least nameable first: by a reader who knows it, then by one who knows the others."""
    from listen.lab.simulator.worlds import WORLDS

    drawn_rounds = dict(zip(WORLDS, spread(_tables, [(w, rounds, seed) for w in WORLDS], workers), strict=True))
    out = []
    for world, (x, y) in drawn_rounds.items():
        new = x[SEEN:], y[SEEN:]
        out.append(scored(world, "itself", taught(x[:SEEN], y[:SEEN], new[0], seed), new[1]))
        # As many rounds in all, so that only what they are rounds of differs.
        others = [(a[: SEEN // 7], b[: SEEN // 7]) for w, (a, b) in drawn_rounds.items() if w != world]
        xs, ys = (np.concatenate(part) for part in zip(*others, strict=True))
        out.append(scored(world, "others", taught(xs, ys, new[0], seed), new[1]))
    return tuple(sorted(out, key=lambda c: (c.taught, c.nameable)))


def _tables(job: tuple[str, int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Features and truth of rounds of one world [shape=(n, F), (n, H)]."""
    world, rounds, seed = job
    rng = np.random.default_rng([seed, PLACE])
    specs = [drawn(WorldRound(world, seed + PLACE, i)) for i in range(SEEN + rounds)]
    truth = [[p in map(str, s.truth.paths) for p in ALL_PATHS] for s in specs]
    return np.array([features(s, rng) for s in specs]), np.array(truth, dtype=np.float64)


def taught(x: NDArray[np.float64], y: NDArray[np.float64], new: NDArray[np.float64], seed: int) -> NDArray[np.float64]:
    """Probabilities for ``new`` rounds, by a reader of rounds ``x`` with truth ``y`` [shape=(n, H)]."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    row, path = np.nonzero(y)  # a pair teaches both of its paths, each by half
    trees = HistGradientBoostingClassifier(
        max_iter=STEPS,
        learning_rate=RATE,
        max_leaf_nodes=LEAVES,
        min_samples_leaf=LEAF,
        l2_regularization=SHRINK,
        early_stopping=True,
        random_state=seed,
    )
    trees.fit(x[row], path, sample_weight=1.0 / y[row].sum(axis=1))
    p = np.full((len(new), len(ALL_PATHS)), LEAST)
    p[:, trees.classes_] = np.maximum(trees.predict_proba(new), LEAST)
    return np.asarray(p / p.sum(axis=1, keepdims=True))


def scored(world: str, by: str, p: NDArray[np.float64], y: NDArray[np.float64]) -> Ceiling:
    """Score probabilities against the truth, both [shape=(n, H)]."""
    shared = y / y.sum(axis=1, keepdims=True)
    right = y[np.arange(len(y)), p.argmax(axis=1)]
    confidence = p.max(axis=1)
    return Ceiling(
        world=world,
        taught=by,
        rounds=len(y),
        named=float((confidence >= NAME_AT).mean()),
        right_of_named=float(right[confidence >= NAME_AT].mean()) if (confidence >= NAME_AT).any() else math.nan,
        top_right=float(right.mean()),
        nameable=nameable(confidence, right),
        log_loss=float(-(shared * np.log(p)).sum(axis=1).mean()),
        brier=float(((p - shared) ** 2).sum(axis=1).mean()),
        augrc=augrc(confidence, 1.0 - right),
    )


def nameable(confidence: NDArray[np.float64], right: NDArray[np.float64]) -> float:
    """The largest share of rounds, the surest first, of which at least ``RIGHT`` are right [both shape=(n,)]."""
    order = np.argsort(-confidence, kind="stable")
    share = np.cumsum(right[order]) / np.arange(1, len(right) + 1)
    good = np.nonzero(share >= RIGHT)[0]
    return float((good.max() + 1) / len(right)) if len(good) else 0.0


def features(spec: RoundSpec, rng: np.random.Generator) -> list[float]:
    """One round as the reader sees it [shape=(F,)]."""
    by_slot: dict[str, PointSpec] = {}
    for p in spec.points:
        by_slot.setdefault(next(s for s in SLOTS if p.point.startswith(s)), p)
    facts, levels = spec.facts, ideal_levels(spec)
    known = facts.firing_order is not None and facts.cylinder is not None
    valves = valves_open(None, facts.firing_order, facts.cylinder) if known else {}  # type: ignore[arg-type]
    out: list[float] = []
    for slot in SLOTS:
        here = by_slot.get(slot)
        if here is None:
            out += [GAP] * 5
            continue
        air, sound = levels[here.point]
        has_sound = any(take.kind is Kind.SOUND for take in here.takes)
        out += [*_heard(air, rng), *(_heard(sound, rng) if has_sound else (GAP, GAP))]
        beside = valves.get(point(here.point).neighbour or -1)
        out.append({"intake": 1.0, "exhaust": 2.0, "overlap": 3.0}.get(str(beside), 0.0))
    radiator = by_slot.get("radiator")
    # Bubbles are told from drips by their decay; the reader is never deceived.
    out.append(float(radiator.bubbles.per_s) if radiator is not None and radiator.bubbles is not None else 0.0)
    dry, wet = facts.compression_dry_kpa, facts.compression_wet_kpa
    rise = wet / dry - 1.0 if dry and wet else GAP
    seen = GAP if facts.bubbles_seen is None else float(facts.bubbles_seen)
    noted = (facts.loss_percent, facts.restrictor_mm, facts.supply_kpa)
    # Trees split one number at a time: what tells one path from another is a difference of levels.
    net = out[1 : 5 * len(SLOTS) : 5]
    apart = [a - b for i, a in enumerate(net) for b in net[:i]]
    above = [a - s for a, s in zip(net, out[3 : 5 * len(SLOTS) : 5], strict=True)]
    return [*out, rise, seen, *(GAP if x is None else float(x) for x in noted), *apart, *above]


def _heard(hisses: Sequence[Level], rng: np.random.Generator) -> tuple[float, float]:
    """Excess over the shop there, and the net level in dB re full scale, as well as they can be measured."""
    net, power = (sum(parts) for parts in zip(*hisses, strict=True)) if hisses else (0.0, 0.0)
    excess = 10.0 * float(np.log10(1.0 + net)) + STEADY_DB * float(rng.normal())
    found = max(10.0 ** (excess / 10.0) - 1.0, 0.0) * power / max(net, TINY)
    return excess, 10.0 * float(np.log10(max(found, TINY)))


def ceilings_table(found: Sequence[Ceiling]) -> str:
    """One line a world and reader."""
    out = [
        f"What could be known by a reader of {SEEN} rounds, of the same world or of the others, who hears every level "
        f"to {STEADY_DB:g} dB:\n",
        f"{'':<12}{'taught':>8}{'most likely right':>19}{'nameable at 97 %':>18}{'named':>8}{'right':>8}"
        f"{'log loss':>10}{'Brier':>8}\n",
    ]
    out += [
        f"{c.world:<12}{c.taught:>8}{c.top_right:>19.2f}{c.nameable:>18.2f}{c.named:>8.2f}{c.right_of_named:>8.2f}"
        f"{c.log_loss:>10.2f}{c.brier:>8.2f}\n"
        for c in found
    ]
    return "".join(out)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of ``python -m tests ceiling``."""
    parser.add_argument("--rounds-drawn", type=whole(1, 10**6), default=200, help="rounds a world (default 200)")
    parser.add_argument("--seed", type=any_seed, default=1, help="seed of everything drawn (default 1)")
    parser.add_argument(
        "--workers", type=whole(1, 1024), default=os.cpu_count() or 1, help="processes (default: all cores)"
    )


def run(args: argparse.Namespace) -> int:
    """Measure and print."""
    sys.stdout.write(ceilings_table(ceilings(args.rounds_drawn, args.seed, args.workers)))
    return 0
