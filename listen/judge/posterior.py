"""Odds over sets of causes, with each point's and each reading's share in them, and the range that assumptions leave.

For each set the unknown levels, transfers, blow-by and shared drift are summed over; evidence is added one source at a
time, points in walking order, then the readings, and once more in the reverse of that order. What each step adds to a
path's log odds, averaged over the two orders, is its weight of evidence in decibans (I. J. Good): the terms and the
prior add up to the odds exactly, with one term more for what nobody foresaw and one for what rounds of known cause
taught. Under the other sets of assumptions only the sum is formed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.air import Draws, Scene, smoothables
from listen.judge.assumptions import BASE, SETS, Assumptions
from listen.judge.evidence import RoundEvidence
from listen.judge.hypotheses import Hypothesis, hypotheses, priors
from listen.judge.log_sum import log_sum
from listen.judge.readings import BUBBLES_HEARD, terms
from listen.judge.result import TOP_FOUND_AGAIN
from listen.judge.smoothing import Smoothed
from listen.judge.taught import TAUGHT, Trees
from listen.judge.traits import traits
from listen.trade.points import PathId

Probability = NDArray[np.float64]
Columns = list[tuple[str, NDArray[np.float64]]]
"""Name of a point or reading, and what it adds to the log probability of each set [shape=(H,)]."""
MISLED = 0.02
"""How often a walk misleads in a way that no set of causes foresees; then only priors and readings speak, a whistle and
a clip with the cylinder side shut off among these. Log loss of five sets made by others: third to fifth stranger, the
fifth's switched ones, the independent simulation: 1.324, 1.658, 1.027, 1.145, .932; with 2 %:
1.303, 1.574, 1.002, and by the priors alone 1.094, .920; least with 4 to 10 %. The own worlds lose nothing by it,
recorded shops .01, all sets some names: hence no more. Before, "above 99 %" was right in 12 of 14 there."""
UNFORESEEN = "unforeseen"
"""Name of the term that this adds to each path's account."""
DB = 10.0 / np.log(10.0)
"""Decibans per natural unit of log odds."""


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Probabilities over sets of causes, and how they were reached."""

    sets: tuple[Hypothesis, ...]
    probability: NDArray[np.float64]
    """Under the usual assumptions [shape=(H,)], sum 1."""
    under: Mapping[Assumptions, NDArray[np.float64]]
    """The same under every set of assumptions."""
    without: Mapping[str, NDArray[np.float64]]
    """The same under the usual ones, had one reading not been taken, or one thing not been learnt."""
    evidence_db: Mapping[PathId, Mapping[str, float]]
    """By path: ``prior``, then one term a point and a reading, and ``unforeseen``, in decibans; they add up to the log
    odds of the path being at work."""
    scene: Scene
    """What was summed over, under the usual assumptions."""
    no_air_db: float
    """Evidence that no air was on, whatever the cylinder is like: over all sets of causes together, in decibans."""
    moved: Probability | None = None
    """Factor by which what was taught moved each set of causes [shape=(H,)]; None where nothing was."""

    def involved(self, path: PathId) -> float:
        """Probability that ``path`` is at work, alone or in a pair."""
        return float(self.probability @ self._inside(path))

    def share(self, path: PathId) -> float:
        """Probability that ``path`` is what is wrong; a pair's mass is shared between its two."""
        return float(self.probability @ self._shares(path))

    def involved_without(self, name: str, path: PathId) -> float:
        """:meth:`involved` without a reading or what was learnt (:attr:`without`)."""
        return float(self.without[name] @ self._inside(path))

    def involved_under(self, path: PathId) -> dict[Assumptions, float]:
        """:meth:`involved` under every set of assumptions."""
        inside = self._inside(path)
        return {assumed: float(p @ inside) for assumed, p in self.under.items()}

    def ranges(self, path: PathId) -> tuple[tuple[float, float], tuple[float, float]]:
        """Least and most of :meth:`share` and of :meth:`involved` over the sets of assumptions."""
        each = np.array([(p @ self._shares(path), p @ self._inside(path)) for p in self.under.values()])
        low, high = each.min(axis=0), each.max(axis=0)
        return (float(low[0]), float(high[0])), (float(low[1]), float(high[1]))

    def _inside(self, path: PathId) -> NDArray[np.float64]:
        return np.array([path in h.paths for h in self.sets], dtype=np.float64)

    def _shares(self, path: PathId) -> NDArray[np.float64]:
        return np.array([(path in h.paths) / len(h.paths) for h in self.sets])

    @property
    def paths(self) -> tuple[PathId, ...]:
        """Every path weighed, in the order of the table."""
        return tuple(p for p in PathId if any(p in h.paths for h in self.sets))


def posterior(
    evidence: RoundEvidence, assumptions: Sequence[Assumptions] = SETS, moved: Probability | None = None
) -> Posterior:
    """Weigh all sets of causes against the round's evidence, under each set of assumptions. Deterministic.

    ``moved`` is by how much what was taught moves each set [shape=(H,)], where that is known from the same round with
    less learnt from elsewhere: trees know the round alone, and what else is known counts in full."""
    heard = frozenset(p for p in PathId if evidence.hears(p))
    # One list for all assumptions: what each of them says is compared row by row.
    sets = hypotheses(heard)
    shared = smoothables(evidence)
    scene = Scene.of(evidence, shared, sets, BASE)
    prior = np.log(priors(sets, heard, BASE, evidence.shop))
    points, backward = _point_columns(evidence, scene)
    readings = _reading_columns(evidence, sets, BASE)
    there = _decibans(sets, prior, [*points, *readings])
    back = _decibans(sets, prior, [*reversed(readings), *backward])
    at_points = {BASE.heard: sum((column for _, column in points), np.zeros(len(sets)))}
    read = prior + _of_readings(readings, len(sets))
    log_p = prior + at_points[BASE.heard] + sum((column for _, column in readings), np.zeros(len(sets)))
    reads = {BASE: read}
    under = {BASE: _held(log_p, read)}
    # Only the sum, not the terms: what is shown line by line is the usual case, the others say how far it could move.
    for assumed in assumptions:
        # The usual set stands among them and is done.
        if assumed in under:
            continue
        # The sum over draws is nearly all of the time, and sets that differ in readings only share it.
        if assumed.heard not in at_points:
            at_points[assumed.heard] = _at_points(evidence, Scene.of(evidence, shared, sets, assumed))
        other, columns = np.log(priors(sets, heard, assumed, evidence.shop)), _reading_columns(evidence, sets, assumed)
        walked = other + at_points[assumed.heard] + sum(column for _, column in columns)
        reads[assumed] = other + _of_readings(columns, len(sets))
        under[assumed] = _held(walked, reads[assumed])
    # A reading may be mistyped or misread: the verdict asks what would be left of a name without each of them.
    reads_without = {name: prior + _of_readings(readings, len(sets), name) for name, _ in readings}
    without = {name: _held(log_p - column, reads_without[name]) for name, column in readings}
    terms_db = {p: _mean_terms(there[p], back[p]) for p in there}
    _fill(terms_db, UNFORESEEN, sets, under[BASE])
    if evidence.taught is not None:
        if moved is None:
            moved = _moved(evidence, evidence.taught, sets, without.get(TOP_FOUND_AGAIN, under[BASE]))
        _fill(terms_db, TAUGHT, sets, _normal_p(under[BASE] * moved))
        # Once more: what is pooled of two that were misled alike is no surer than either.
        under = {assumed: _misled(_normal_p(p * moved), reads[assumed]) for assumed, p in under.items()}
        without = {name: _misled(_normal_p(p * moved), reads_without[name]) for name, p in without.items()}
        _fill(terms_db, UNFORESEEN, sets, under[BASE])
    # What was read was read under air, however the walk was: it stands on both sides.
    sound = sets.index(Hypothesis((PathId.NONE,)))
    heard_without_air = next((column[sound] for name, column in readings if name == BUBBLES_HEARD), 0.0)
    no_air = DB * (_silent(evidence, scene) + log_sum(read + heard_without_air) - log_sum(log_p))
    return Posterior(sets, under[BASE], under, without, terms_db, scene, float(no_air), moved)


def _fill(terms_db: dict[PathId, dict[str, float]], name: str, sets: tuple[Hypothesis, ...], p: Probability) -> None:
    """Add what each path's account lacks to its odds, under a name."""
    for path, its in terms_db.items():
        its[name] = its.get(name, 0.0) + _odds_db(sets, p, path) - sum(its.values())


def _moved(evidence: RoundEvidence, taught: Trees, sets: tuple[Hypothesis, ...], p: Probability) -> Probability:
    """Factor by which what was taught moves each set of causes [shape=(H,)]; a pair's is the mean of its two paths'."""
    paths = [path for path in PathId if any(path in h.paths for h in sets)]
    # How much of a set's mass is a path's [shape=(H, paths)].
    parts = np.array([[(path in h.paths) / len(h.paths) for path in paths] for h in sets])
    moves = taught.moves(traits(evidence), dict(zip(paths, map(float, p @ parts), strict=True)))
    return np.asarray(np.exp(parts @ [moves[path] for path in paths]))


def _odds_db(sets: tuple[Hypothesis, ...], probability: NDArray[np.float64], path: PathId) -> float:
    """Log odds of a path being at work, in decibans."""
    inside = np.array([path in h.paths for h in sets])
    return float(DB * np.log(probability[inside].sum() / probability[~inside].sum()))


def _of_readings(readings: Columns, count: int, but: str = "") -> NDArray[np.float64]:
    """What the readings add, but for one: bubbles heard belong to the walk [shape=(H,)]."""
    return np.asarray(sum((c for name, c in readings if name not in (BUBBLES_HEARD, but)), np.zeros(count)))


def _held(walked: NDArray[np.float64], read: NDArray[np.float64]) -> NDArray[np.float64]:
    """Probabilities by walk and readings together, and in ``MISLED`` of cases by the readings alone [shape=(H,)]."""
    return _misled(np.exp(_normal(walked)), read)


def _misled(p: Probability, read: NDArray[np.float64]) -> Probability:
    """Probabilities in ``MISLED`` of cases by priors and readings alone [shape=(H,)]."""
    return np.asarray((1.0 - MISLED) * p + MISLED * np.exp(_normal(read)))


def _silent(evidence: RoundEvidence, scene: Scene) -> float:
    """Log likelihood of what all points heard, had there been no air at any: the lowest level is as good as silence."""
    return float(log_sum(sum((t.table[0] for t in scene.tables if t is not None), evidence.states)))


def _at_points(evidence: RoundEvidence, scene: Scene) -> NDArray[np.float64]:
    """Log likelihood of what all points heard together, under each set of causes [shape=(H,)]."""
    total = []
    for draws in scene.draws.values():
        # Drift is common to the points of a walk: summed over per point it would count as many witnesses.
        weight = draws.log_weight[:, None] + evidence.states
        total.append(log_sum(sum(_by_point(draws, scene.tables), weight).ravel()))
    return np.array(total)


def _reading_columns(evidence: RoundEvidence, sets: tuple[Hypothesis, ...], assumed: Assumptions) -> Columns:
    return [(name, np.array([term(h.paths) for h in sets])) for name, term in terms(evidence, assumed)]


def _mean_terms(there: Mapping[str, float], back: Mapping[str, float]) -> dict[str, float]:
    """Terms of both orders averaged: neither what came first nor what came last gets more than its share."""
    return {name: 0.5 * (db + back[name]) for name, db in there.items()}


def _normal_p(p: Probability) -> Probability:
    return np.asarray(p / p.sum())


def _normal(log_p: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(log_p - log_sum(log_p))


def _decibans(
    sets: tuple[Hypothesis, ...], prior: NDArray[np.float64], columns: Columns
) -> dict[PathId, dict[str, float]]:
    """What each column adds to each path's log odds when added in this order, after the prior's own."""
    names = ["prior", *(name for name, _ in columns)]
    stages = np.cumsum([prior, *(column for _, column in columns)], axis=0)
    out: dict[PathId, dict[str, float]] = {}
    for path in PathId:
        inside = np.array([path in h.paths for h in sets])
        # A path in no set has no odds to move.
        if not inside.any():
            continue
        # Inside against outside, at every stage: a pair counts for both of its paths.
        odds = DB * (log_sum(stages[:, inside]) - log_sum(stages[:, ~inside]))
        out[path] = dict(zip(names, map(float, np.diff(odds, prepend=0.0)), strict=True))
    return out


def _point_columns(evidence: RoundEvidence, scene: Scene) -> tuple[Columns, Columns]:
    """Log likelihood that each point adds to those before it in walking order, and in the reverse of it."""
    names = [p.point.id for p, table in zip(evidence.points, scene.tables, strict=True) if table is not None]
    forward, backward = [], []
    for draws in scene.draws.values():
        at = _by_point(draws, scene.tables)
        weight = draws.log_weight[:, None] + evidence.states
        forward.append(_gains(weight, at))
        backward.append(_gains(weight, at[::-1]))
    there, back = np.array(forward), np.array(backward)
    return (
        [(name, there[:, i]) for i, name in enumerate(names)],
        [(name, back[:, i]) for i, name in enumerate(reversed(names))],
    )


def _by_point(draws: Draws, tables: list[Smoothed | None]) -> list[NDArray[np.float64]]:
    """Log likelihood of each draw under each state of the drift, at each point that has a table [shape=(n, X) each]."""
    return [table(draws.net_db[:, i], draws.spread_db[:, i]) for i, table in enumerate(tables) if table is not None]


def _gains(log_weight: NDArray[np.float64], at: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Log likelihood each point adds, given those before it [shape=(P,)]."""
    so_far, out = log_weight, []
    for here in at:
        # A new array each time: in place it would spoil the weights for the walk in reverse.
        so_far = so_far + here
        out.append(log_sum(so_far.ravel()))
    return np.asarray(np.diff(out, prepend=0.0))
