"""The one recording, reading or look that would help most: expected gain of information over what is still open.

For each candidate the judge foretells, under every set of causes, what would be measured; the mutual information
between that and the cause is the candidate's worth (Lindley 1956), in bits. A pair that was recorded is not asked for
again, longer: of 50 such asks in rounds of the worlds one led to a name, while of 41 walks of a sound cylinder 6 did,
of 78 with the cylinder side shut off 6, of 86 walks repeated as a whole 7.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.judge.air import Scene, smoothables
from listen.judge.assumptions import BASE
from listen.judge.evidence import PointEvidence, RoundEvidence
from listen.judge.hypotheses import Hypothesis
from listen.judge.loudness import LEVELS_DB
from listen.judge.posterior import Posterior
from listen.judge.readings import SEEN, SHUT, loss
from listen.judge.sources import BETWEEN_CYLINDERS_DB
from listen.trade.points import Kind, PathId, Point, point, usual_points, walking_order
from listen.voice.names import path as path_name

MEASURED_TO_DB = 1.5
"""A level well above the detection limit is measured to about this, template error included. Judgement."""
CLEAR_LIMIT_DB = -8.0
"""Hiss level a fresh 4 s pair with two quiets makes out in a usual shop. Judgement."""
USUAL_SECONDS = 4.0
"""Length of a clip that is asked for; longer ones bought nothing (above). Judgement."""
LOSSES_PERCENT = (3.0, 6.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 97.0)
"""Losses that might be read. Judgement: near enough to each other for their likelihoods."""
WORTH_BITS = 0.02
"""Less than this is not worth a walk to the tailpipe. Judgement."""


@dataclass(frozen=True, slots=True)
class NextBest:
    """A recording or look that is still open."""

    point: str
    kind: str
    """A clip kind, ``bubbles`` for "bubbles seen?", or ``loss``."""
    seconds: float
    bits: float
    text: str


def next_best(
    evidence: RoundEvidence, odds: Posterior, known: tuple[str, ...] | None = None, *, single: bool = False
) -> NextBest | None:
    """The candidate worth most, or ``None`` where nothing is worth recording.

    A clipped air clip is taken again before anything else: nobody knows how much louder it was. Of an engine whose
    points are ``known`` only they are asked for, of a ``single`` cylinder no sound one.
    """
    for p in evidence.points:
        if p.clipped:
            # Worth without end: it stands before anything that can be counted in bits.
            text = f"Record the {p.point.words} again, quiet and air, with less input gain: it was clipped."
            return NextBest(p.point.id, Kind.AIR, USUAL_SECONDS, np.inf, text)
    mouths = usual_points(known)
    wide = _with_unrecorded(evidence, mouths)
    # What is all but excluded adds nothing to the gain and most of the time to the search.
    keep = odds.probability > 1e-4
    likely = [h for h, k in zip(odds.sets, keep, strict=True) if k]
    # Summed anew only where a point was never recorded: the odds' own draws do not reach there.
    scene = odds.scene if wide is evidence else Scene.of(wide, smoothables(wide), likely, BASE)
    p = odds.probability[keep] / odds.probability[keep].sum()
    found = [
        NextBest(at, kind, USUAL_SECONDS if kind in set(Kind) else 0.0, _bits(p, foretold), _words(at, kind, odds))
        for at, kind, foretold in (*_recordings(wide, scene, likely, p), *_looks(evidence, likely, mouths))
        if not (single and kind == Kind.SOUND)
    ]
    best = max(found, key=lambda c: c.bits, default=None)
    return best if best is not None and best.bits >= WORTH_BITS else None


def _with_unrecorded(evidence: RoundEvidence, mouths: Mapping[PathId, Point]) -> RoundEvidence:
    missing = {p.id: p for path, p in mouths.items() if not evidence.hears(path)}
    if not missing:
        return evidence
    every = [*evidence.points, *(PointEvidence(p, None) for p in missing.values())]
    return replace(evidence, points=tuple(sorted(every, key=lambda e: walking_order(e.point.id))))


Candidate = tuple[str, str, NDArray[np.float64]]
"""Point, kind, and the foretold distribution under each set [shape=(H, bins)]."""


def _recordings(
    evidence: RoundEvidence, scene: Scene, likely: list[Hypothesis], p: NDArray[np.float64]
) -> list[Candidate]:
    draws = [scene.draws[h] for h in likely]
    weights = [scene.weights(h, evidence.states) for h in likely]
    out: list[Candidate] = []
    for i, e in enumerate(evidence.points):
        if e.air is None:
            seen = [_seen(d.net_db[:, i], d.spread_db[:, i], CLEAR_LIMIT_DB) for d in draws]
            out.append((e.point.id, str(Kind.AIR), _foretold(weights, seen)))
        if e.sound is None:
            # Normal blow-by is drawn once for all sets of causes.
            own = draws[0].blow_by_db[:, i]
            seen = [_seen(own, np.full_like(own, BETWEEN_CYLINDERS_DB), CLEAR_LIMIT_DB)] * len(draws)
            out.append((e.point.id, str(Kind.SOUND), _foretold(weights, seen)))
    if evidence.shut_heard is None:
        # Where it is loudest: what lies before the shut-off is heard there if anywhere.
        level = sum(share * (w @ d.net_db) for share, w, d in zip(p, weights, draws, strict=True))
        at = evidence.points[int(np.argmax(level))].point.id
        out.append((at, str(Kind.SHUT), _yes_or_no([SHUT[h.paths == (PathId.FITTING,)] for h in likely])))
    return out


def _looks(evidence: RoundEvidence, likely: list[Hypothesis], mouths: Mapping[PathId, Point]) -> list[Candidate]:
    out: list[Candidate] = []
    readings = evidence.readings
    if readings.bubbles_seen is None and (coolant := mouths.get(PathId.COOLANT_PASSAGE)):
        out.append((coolant.id, "bubbles", _yes_or_no([SEEN[PathId.COOLANT_PASSAGE in h.paths] for h in likely])))
    if readings.loss_percent is None:
        read = [replace(readings, loss_percent=x) for x in LOSSES_PERCENT]
        density = np.exp([[loss(h.paths, r, BASE, evidence.shop) for r in read] for h in likely])
        out.append(("", "loss", density * np.gradient(LOSSES_PERCENT)))
    return out


def _yes_or_no(yes: Sequence[float]) -> NDArray[np.float64]:
    return np.array([[p, 1.0 - p] for p in yes])


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
    # An outcome no set foretells would be nought times an endless logarithm.
    q = np.maximum(foretold, 1e-12)
    q = q / q.sum(axis=1, keepdims=True)
    return float((p[:, None] * q * np.log2(q / (p @ q))).sum())


def _words(point_id: str, kind: str, odds: Posterior) -> str:
    what = {
        "loss": "Read the loss with the air on",
        "bubbles": "Look at the coolant with the air on and answer whether bubbles rise",
        Kind.SOUND: "Record the {} with air in a cylinder known to be sound",
        Kind.SHUT: "Record the {} with the supply on and the cylinder side shut off",
        Kind.AIR: "Record the {}, quiet and air",
    }[kind]
    rivals = sorted(odds.paths, key=lambda x: -odds.involved(x))[:2]
    asked = what.format(point(point_id).words) if point_id else what
    return f"{asked}: it would best tell {' from '.join(map(path_name, rivals))}."
