"""The one recording that would help most: expected gain of information over what can still be recorded.

For each candidate the judge foretells, under every set of causes, what level would be measured; the mutual
information between that and the cause is the candidate's worth (Lindley 1956), in bits.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.judge.air import Draws, Scene, smoothables
from listen.judge.assumptions import BASE
from listen.judge.evidence import PointEvidence, RoundEvidence
from listen.judge.loudness import LEVELS_DB
from listen.judge.posterior import Posterior
from listen.judge.readings import SEEN
from listen.judge.sources import BETWEEN_CYLINDERS_DB
from listen.trade.points import Kind, PathId, point, usual_points, walking_order
from listen.voice.names import path as path_name

MEASURED_TO_DB = 1.5
"""A level well above the detection limit is measured to about this, template error included. Judgement."""
CLEAR_LIMIT_DB = -8.0
"""Hiss level a fresh 4 s pair with two quiets makes out in a usual shop; longer clips and more quiets reach lower.
Judgement."""
LONGER_BUYS_DB = 3.0
"""Four times the time buys 3 dB (radiometer equation), where drift lets it."""
USUAL_SECONDS = 4.0
WORTH_BITS = 0.02
"""Less than this is not worth a walk to the tailpipe. Judgement."""


@dataclass(frozen=True, slots=True)
class NextBest:
    """A recording or look that is still open."""

    point: str
    kind: str
    """A clip kind, or ``look`` for "bubbles seen?"."""
    seconds: float
    bits: float
    text: str


def next_best(evidence: RoundEvidence, odds: Posterior) -> NextBest | None:
    """The candidate worth most, or ``None`` where nothing is worth recording.

    A clipped air clip is taken again before anything else: nobody knows how much louder it was.
    """
    for p in evidence.points:
        if p.clipped:
            text = f"Record the {p.point.words} again, quiet and air, with less input gain: it was clipped."
            return NextBest(p.point.id, Kind.AIR, USUAL_SECONDS, np.inf, text)
    wide = _with_unrecorded(evidence)
    # What is all but excluded adds nothing to the gain and most of the time to the search.
    keep = odds.probability > 1e-4
    likely = [h for h, k in zip(odds.sets, keep, strict=True) if k]
    scene = odds.scene if wide is evidence else Scene.of(wide, smoothables(wide), likely, BASE)
    draws = [scene.draws[h] for h in likely]
    p = odds.probability[keep] / odds.probability[keep].sum()
    weights = [scene.weights(h, evidence.states) for h in likely]
    have = {e.point.id for e in evidence.points if e.air is not None}
    found = [
        NextBest(point_id, kind, seconds, _bits(p, foretold), _words(point_id, kind, seconds, odds, point_id in have))
        for point_id, kind, seconds, foretold in _candidates(wide, draws, weights)
    ]
    if evidence.readings.bubbles_seen is None:
        inside = np.array([PathId.COOLANT_PASSAGE in h.paths for h in likely])
        seen = np.where(inside, SEEN[True], SEEN[False])
        bits = _bits(p, np.stack([seen, 1.0 - seen], axis=1))
        coolant = usual_points()[PathId.COOLANT_PASSAGE].id
        found.append(NextBest(coolant, "look", 0.0, bits, _words(coolant, "look", 0.0, odds)))
    best = max(found, key=lambda c: c.bits, default=None)
    return best if best is not None and best.bits >= WORTH_BITS else None


def _with_unrecorded(evidence: RoundEvidence) -> RoundEvidence:
    missing = {p.id: p for path, p in usual_points().items() if not evidence.hears(path)}
    if not missing:
        return evidence
    every = [*evidence.points, *(PointEvidence(p, None) for p in missing.values())]
    return replace(evidence, points=tuple(sorted(every, key=lambda e: walking_order(e.point.id))))


def _candidates(
    evidence: RoundEvidence, draws: list[Draws], weights: list[NDArray[np.float64]]
) -> list[tuple[str, str, float, NDArray[np.float64]]]:
    """Point, kind, seconds, and the foretold distribution under each set [shape=(H, bins)]."""
    out = []
    for i, e in enumerate(evidence.points):
        # Where the point is recorded, what is known of its level has been used up; only a better limit adds to it.
        spread = [0.0 * d.spread_db[:, i] if e.air is not None else d.spread_db[:, i] for d in draws]
        for seconds, limit in ((4.0, CLEAR_LIMIT_DB), (16.0, CLEAR_LIMIT_DB - LONGER_BUYS_DB)):
            if e.air is None or seconds > USUAL_SECONDS:
                seen = [_seen(d.net_db[:, i], s, limit) for d, s in zip(draws, spread, strict=True)]
                out.append((e.point.id, str(Kind.AIR), seconds, _foretold(weights, seen)))
        if e.sound is None:
            # Normal blow-by is drawn once for all sets of causes.
            own = draws[0].blow_by_db[:, i]
            seen = [_seen(own, np.full_like(own, BETWEEN_CYLINDERS_DB), CLEAR_LIMIT_DB)] * len(draws)
            out.append((e.point.id, str(Kind.SOUND), 4.0, _foretold(weights, seen)))
    return out


def _foretold(weights: list[NDArray[np.float64]], seen: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Distribution over measured level under each set [shape=(H, bins)]."""
    return np.array([w @ of_draw for w, of_draw in zip(weights, seen, strict=True)])


def _seen(level: NDArray[np.float64], spread: NDArray[np.float64], limit_db: float) -> NDArray[np.float64]:
    """The same for each draw [shape=(n, bins)]; everything below the limit is one outcome, the last."""
    grid = LEVELS_DB[limit_db <= LEVELS_DB]
    sd = np.hypot(spread, MEASURED_TO_DB)[:, None]
    density = np.exp(-0.5 * ((grid - level[:, None]) / sd) ** 2) / sd
    seen = np.clip((level - limit_db) / (2.0 * MEASURED_TO_DB) + 0.5, 0.0, 1.0)
    density *= (seen / np.maximum(density.sum(axis=1), 1e-12))[:, None]
    return np.column_stack([density, 1.0 - seen])


def _bits(p: NDArray[np.float64], foretold: NDArray[np.float64]) -> float:
    """Mutual information of cause [shape=(H,)] and outcome [shape=(H, bins)], bits."""
    q = np.maximum(foretold, 1e-12)
    q = q / q.sum(axis=1, keepdims=True)
    return float((p[:, None] * q * np.log2(q / (p @ q))).sum())


def _words(point_id: str, kind: str, seconds: float, odds: Posterior, recorded: bool = True) -> str:
    where = point(point_id).words
    rivals = sorted(odds.paths, key=lambda x: -odds.involved(x))[:2]
    settle = " from ".join(map(path_name, rivals))
    if kind == "look":
        return f"Look at the coolant with the air on and answer whether bubbles rise: it would best tell {settle}."
    if kind == Kind.SOUND:
        return f"Record the {where} with air in a cylinder known to be sound: it would best tell {settle}."
    if seconds > 4.0:
        again = "again, " if recorded else ""
        return f"Record the {where} {again}quiet, air, quiet, {seconds:.0f} s each: it would best tell {settle}."
    return f"Record the {where}, quiet and air: it would best tell {settle}."
