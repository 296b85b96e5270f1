"""Teach the trees of ``listen/judge/taught-*.npz`` by rounds of known cause; each maker of them is left out once."""

import argparse
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import listen.judge.taught
from listen.bench.accuracy.measured import WorldRound, measured
from listen.bench.accuracy.workers import spread
from listen.errors import HisswayError
from listen.judge.assumptions import BASE
from listen.judge.posterior import posterior
from listen.judge.taught import LEAST_ODDS, Trees
from listen.judge.traits import traits
from listen.lab.simulator.worlds import WORLDS
from listen.rounds.evaluate import measure
from listen.rounds.loose import read_folder
from listen.rounds.model import Facts
from listen.rounds.slips.blunders import blunders, without
from listen.rounds.unusable import nothing_usable
from listen.rounds.weigh import weigh
from listen.signal.point import PointTakes
from listen.trade.points import PathId

SUMMARY = "teach the judge from rounds of known cause, and say what that is worth on a maker left out"
EXAMPLE = "python -m tests taught tests/bench/known_rounds.npz eleventh=FOLDER --write"

OWN = ("worlds", "recorded")
"""Makers that are ours; ``taught-others.npz`` never saw them."""
DEPTH = 4
TREES = {
    "max_iter": 150, "learning_rate": 0.04, "max_leaf_nodes": 2**DEPTH, "max_depth": DEPTH, "min_samples_leaf": 15,
    "l2_regularization": 5.0, "max_features": 0.3, "random_state": 0,
}  # fmt: skip
"""Few and shallow trees, each on a third of the traits. Of twelve makers left out one by one, pooled by 0.45 and 0.7:
mean log loss .826 by 120 of depth three, .824 by as many of depth four, .821 by 150, .819 with 25 rounds an end."""
NAME_AT = 0.9


@dataclass(frozen=True, slots=True)
class Table:
    """Rounds as traits, with what was wrong with them."""

    maker: NDArray[np.str_]
    """[shape=(R,)]"""
    names: tuple[str, ...]
    traits: NDArray[np.float64]
    """[shape=(R, F)], NaN where a round does not have it."""
    share: NDArray[np.float64]
    """By the judge's own model [shape=(R, 8)], in the order of ``PathId``; NaN where a path was not weighed."""
    truth: NDArray[np.float64]
    """1 for each cause at work [shape=(R, 8)]."""

    def only(self, rows: NDArray[np.bool_]) -> "Table":
        return Table(self.maker[rows], self.names, self.traits[rows], self.share[rows], self.truth[rows])

    def written(self, path: Path) -> None:
        numbers = {"traits": self.traits, "share": self.share}
        narrow = {name: values.astype(np.float32) for name, values in numbers.items()}
        np.savez_compressed(path, maker=self.maker, names=np.array(self.names), truth=self.truth, **narrow)

    @classmethod
    def read(cls, path: Path) -> "Table":
        with np.load(path) as f:
            wide = {name: f[name].astype(np.float64) for name in ("traits", "share")}
            return cls(f["maker"], tuple(map(str, f["names"])), wide["traits"], wide["share"], f["truth"])

    @classmethod
    def of(cls, rounds: Sequence["Known"]) -> "Table":
        names = tuple(rounds[0].traits)
        truth = [[float(p in r.causes or (p == PathId.NONE and not r.causes)) for p in PathId] for r in rounds]
        values = np.array([[r.traits[name] for name in names] for r in rounds])
        share = np.array([[r.share.get(p, np.nan) for p in PathId] for r in rounds])
        return cls(np.array([r.maker for r in rounds]), names, values, share, np.array(truth))


@dataclass(frozen=True, slots=True)
class Known:
    """One round of known cause."""

    maker: str
    traits: Mapping[str, float]
    share: Mapping[PathId, float]
    causes: frozenset[str]

    @classmethod
    def of(cls, maker: str, points: Sequence[PointTakes], facts: Facts, causes: frozenset[str]) -> "Known | None":
        """As the judge sees it; None where no clip can be used."""
        if nothing_usable(points) and not facts.bubbles_seen:
            return None
        evidence = weigh(without(points, blunders(points)), facts).evidence
        odds = posterior(evidence, (BASE,))
        return cls(maker, traits(evidence), {p: odds.share(p) for p in odds.paths}, causes - {"none"})


def fit(table: Table) -> tuple[Trees, Any]:
    """Trees taught by a table, every maker counting alike; and the library's own model of them."""
    # Gradient boosting of scikit-learn, which librosa brings: only its trees are shipped, not the library's reader.
    from sklearn.ensemble import HistGradientBoostingClassifier

    values = _told_apart(table.traits)
    row, cause = np.nonzero(table.truth)
    each = {maker: 1.0 / np.count_nonzero(table.maker == maker) for maker in np.unique(table.maker)}
    weight = np.array([each[m] for m in table.maker]) * len(table.maker) / len(each)
    weight = (weight / table.truth.sum(axis=1))[row]
    model = HistGradientBoostingClassifier(**TREES).fit(values[row], cause, sample_weight=weight)
    grown = [tree for step in model._predictors for tree in step]
    asked, bound, missing, ends = (np.array(part) for part in zip(*map(_whole, grown), strict=True))
    start = np.ravel(model._baseline_prediction).astype(np.float64)
    return Trees(table.names, start, asked, bound, missing, ends), model


def _told_apart(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same, with traits that are the same in all rounds held at nought: the library cannot bin these."""
    few = [len(np.unique(column[~np.isnan(column)])) < 2 for column in values.T]
    return np.where(few, 0.0, values)


def _whole(tree: Any) -> tuple[list[int], list[float], list[bool], list[float]]:
    """One of the library's trees as a whole one of ``DEPTH``: where it ends early, both ways lead to the same end."""
    nodes, count = tree.nodes, 2**DEPTH - 1
    asked, bound, missing, ends = [0] * count, [np.inf] * count, [False] * count, [0.0] * (count + 1)

    def put(node: int, at: int) -> None:
        its = nodes[node]
        if at >= count:
            ends[at - count] = float(its["value"])
            return
        left = right = node
        if not its["is_leaf"]:
            left, right = int(its["left"]), int(its["right"])
            asked[at], bound[at] = int(its["feature_idx"]), float(its["num_threshold"])
            missing[at] = not its["missing_go_to_left"]
        put(left, 2 * at + 1)
        put(right, 2 * at + 2)

    put(0, 0)
    return asked, bound, missing, ends


def pooled(trees: Trees | None, table: Table) -> NDArray[np.float64]:
    """Probability of each path by trees and judge together [shape=(R, 8)]; by the judge alone where there are none."""
    p = np.nan_to_num(table.share)
    if trees is not None:
        for row, traits_, share in zip(p, table.traits, table.share, strict=True):
            its = dict(zip(table.names, traits_, strict=True))
            row *= np.exp([*trees.moves(its, dict(zip(PathId, share, strict=True))).values()])
    p = np.nan_to_num(p)
    return np.asarray(p / p.sum(axis=1, keepdims=True))


def told(name: str, p: NDArray[np.float64], truth: NDArray[np.float64]) -> str:
    """Log loss, and how many have a path at 0.90 and more and are right with it."""
    loss = -np.log(np.maximum((p * truth).sum(axis=1), LEAST_ODDS)).mean()
    sure, right = p.max(axis=1) >= NAME_AT, truth[np.arange(len(p)), p.argmax(axis=1)] > 0
    return (
        f"{name} {loss:.3f}, {np.count_nonzero(sure & right)} of {np.count_nonzero(sure)} right from {NAME_AT:.2f} on"
    )


def left_out(table: Table) -> Iterator[str]:
    """For each maker what the judge alone says of his rounds, and with trees that the others taught."""
    for maker in np.unique(table.maker):
        mine = table.maker == maker
        own, (trees, _) = table.only(mine), fit(table.only(~mine))
        yield f"{maker:12} {len(own.maker):5}  {told('judge', pooled(None, own), own.truth)}; " + told(
            "taught by the others", pooled(trees, own), own.truth
        )


def write(table: Table) -> Iterator[str]:
    """Write both files of trees beside the module that reads them."""
    for by, rows in (("all", np.ones(len(table.maker), bool)), ("others", ~np.isin(table.maker, OWN))):
        trees, _ = fit(table.only(rows))
        path = Path(listen.judge.taught.__file__).with_name(f"taught-{by}.npz")
        np.savez_compressed(
            path, traits=np.array(trees.traits), start=trees.start, asked=trees.asked.astype(np.uint8),
            bound=trees.bound.astype(np.float32), missing=trees.missing, ends=trees.ends.astype(np.float32),
        )  # fmt: skip
        yield f"{path.name}: {path.stat().st_size} bytes, {np.count_nonzero(rows)} rounds"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("table", type=Path, help="table of rounds as traits (.npz): read, and written where it grows")
    parser.add_argument(
        "more", nargs="*", metavar="MAKER=FOLDER", help="rounds to add, with truth.jsonl beside rounds/"
    )
    parser.add_argument("--worlds", type=int, default=0, metavar="N", help="add so many rounds of each world of ours")
    parser.add_argument("--noise", type=Path, help="and as many in the shops of the recordings in this folder")
    parser.add_argument("--seed", type=int, default=131)
    parser.add_argument("--write", action="store_true", help="write the trees that are shipped")


def run(args: argparse.Namespace) -> int:
    """Grow the table, tell what it teaches, and write the trees where asked to."""
    jobs = [
        WorldRound(world, args.seed, i, noise=noise)
        for noise in (None, *([args.noise] if args.noise else []))
        for world in WORLDS
        for i in range(args.worlds)
    ]
    found = (*_folders(args.more), *spread(_drawn, jobs, os.cpu_count() or 1))
    rows = [known for known in found if known is not None]
    tables = ([Table.read(args.table)] if args.table.exists() else []) + ([Table.of(rows)] if rows else [])
    table = Table(
        np.concatenate([t.maker for t in tables]),
        tables[0].names,
        *(np.concatenate([getattr(t, name) for t in tables]) for name in ("traits", "share", "truth")),
    )
    if rows:
        table.written(args.table)
    for line in (*left_out(table), *(write(table) if args.write else ())):
        print(line)
    return 0


def _folders(more: Sequence[str]) -> Iterator[Known | None]:
    for one in more:
        maker, _, folder = one.partition("=")
        for line in (Path(folder) / "truth.jsonl").read_text().splitlines():
            truth = json.loads(line)
            try:
                round_ = read_folder(Path(folder) / "rounds" / truth["id"])
                yield Known.of(maker, measure(round_), round_.facts, frozenset(truth["causes"]))
            except HisswayError as error:
                print(f"left out: {error}")


def _drawn(job: WorldRound) -> Known | None:
    found = measured(job)
    maker = OWN[job.noise is not None]
    return Known.of(maker, found.points, found.spec.facts, found.truth)
