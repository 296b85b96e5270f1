"""What a round looks like beside other rounds, as numbers in a fixed order: how loud it is at each path's mouths, and
what was read. Nothing of the judge's own odds is among them, so that a change of its model leaves them as they are.

Numbers that a round does not have are NaN. Where a path has several mouths, the loudest counts.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from listen.judge.evidence import Bubbles, PointEvidence, Readings, RoundEvidence
from listen.judge.hypotheses import LEAKS
from listen.judge.log_sum import log_sum
from listen.judge.loudness import LEVELS_DB
from listen.judge.readings import SUPPLIES_KPA
from listen.trade.points import PathId
from listen.trade.restrictor import REFERENCE_MM, SUPPLY_KPA, USUAL_MM, leak_mm
from listen.trade.transfer import OpenValve

HEARD_NATS = 3.0
"""Log likelihood above silence from which a mouth counts as heard. Judgement."""
NO_BUBBLE_HZ = 0.05
"""Added to a rate of bubbles before its logarithm: one in a long clip and none are about the same. Judgement."""
LOSSES_PERCENT = (0.5, 99.5)
"""A loss is brought to a hole within these: nought and all have none. Judgement."""

Named = Iterator[tuple[str, float | None]]


def traits(evidence: RoundEvidence) -> dict[str, float]:
    """Every trait by name."""
    named = (*_readings(evidence), *_levels(evidence))
    return {name: np.nan if value is None else float(value) for name, value in named}


def _readings(evidence: RoundEvidence) -> Named:
    r = evidence.readings
    loss, others, dry, wet = r.loss_percent, r.loss_others_percent, r.compression_dry_kpa, r.compression_wet_kpa
    yield "loss", loss
    yield "loss of others", others
    yield "hole", _hole(r)
    yield "loss beside others", float(np.log(loss / max(others, 1.0))) if loss and others else None
    yield "compression", dry
    yield "wet rise", wet / dry - 1.0 if dry and wet is not None else None
    yield "supply", r.supply_kpa
    yield "bubbles seen", r.bubbles_seen
    yield "shut", evidence.shut_heard
    yield from _bubbles(evidence.bubbles)


def _hole(readings: Readings) -> float | None:
    """Natural log of the bore in mm of the hole that the loss tells of; None where no loss was read."""
    if readings.loss_percent is None:
        return None
    bore = readings.restrictor_mm
    bore = bore if bore is not None and USUAL_MM[0] <= bore <= USUAL_MM[1] else REFERENCE_MM
    percent, supply = np.clip(readings.loss_percent, *LOSSES_PERCENT), readings.supply_kpa or SUPPLY_KPA
    return float(np.log(leak_mm(float(percent), bore, float(np.clip(supply, *SUPPLIES_KPA)))))


def _bubbles(counts: Bubbles | None) -> Named:
    off = on = None
    if counts is not None and counts.quiet_s and counts.air_s:
        off, on = counts.quiet / counts.quiet_s, counts.air / counts.air_s
    yield "bubbles off", None if off is None else float(np.log(off + NO_BUBBLE_HZ))
    yield "bubbles on", None if on is None else float(np.log(on + NO_BUBBLE_HZ))
    yield "bubbles more", None if off is None or on is None else on - off


def _levels(evidence: RoundEvidence) -> Named:
    found_at = [level for level in (_Level.of(p, evidence.states) for p in evidence.points) if level is not None]
    at_mouth = {m: [level for level in found_at if m in level.point.point.row.own] for m in LEAKS}
    loudest = {m: max(found, key=lambda x: x.mean, default=None) for m, found in at_mouth.items()}
    levels = {m: found.mean for m, found in loudest.items() if found is not None}
    top = max(levels.values(), default=np.nan)
    for mouth, found in loudest.items():
        values = dict.fromkeys(AT_A_MOUTH) if found is None else found.named(top)
        beside = [level for m, level in levels.items() if m is not mouth]
        yield from ((f"{mouth} {name}", value) for name, value in values.items())
        yield f"{mouth} lead", levels[mouth] - max(beside) if mouth in levels and beside else None
    heard = [found.heard_nats > HEARD_NATS for found in loudest.values() if found is not None]
    yield "mouths heard", sum(heard)
    yield "mouths", len(heard)
    yield "switched", any(p.switched for p in evidence.points)
    yield "sound cylinder", any(p.sound is not None for p in evidence.points)
    yield "levels apart", float(np.std([*levels.values()])) if len(levels) > 1 else None
    for one, other in combinations(LEAKS, 2):
        yield f"{one} over {other}", levels[one] - levels[other] if one in levels and other in levels else None
    for mouth, several in at_mouth.items():
        means = [x.mean for x in several]
        yield f"{mouth} points", len(means)
        yield f"{mouth} apart", max(means) - min(means) if len(means) > 1 else None
    yield from _holes(at_mouth[PathId.NEXT_CYLINDER], evidence.readings.valves, top)


def _holes(found: Sequence["_Level"], valves: Mapping[int, OpenValve | None], top: float) -> Named:
    """How loud plug holes are by what stands open in their cylinders: air of a manifold comes out there, too."""
    states = [valves.get(x.point.point.neighbour or 0) if valves else "unknown" for x in found]
    yield "cylinders", len(valves) + 1 if valves else None
    for state in ("intake", "exhaust", "overlap", None, "unknown"):
        means = [x.mean for x, its in zip(found, states, strict=True) if its == state]
        yield f"holes {state or 'shut'} below the loudest", max(means) - top if means else None
    loudest = max(zip(found, states, strict=True), key=lambda x: x[0].mean, default=(None, "unknown"))[1]
    for side in ("intake", "exhaust"):
        yield f"loudest hole {side} open", None if loudest == "unknown" else loudest in (side, "overlap")


AT_A_MOUTH = (
    *("below the loudest", "level", "heard", "from", "to", "spread"),
    *("sound", "above sound", "clipped", "whistle"),
)


@dataclass(frozen=True, slots=True)
class _Level:
    """How loud the air is at one point, by its clips alone."""

    mean: float
    spread: float
    low: float
    high: float
    heard_nats: float
    sound: float | None
    point: PointEvidence

    @classmethod
    def of(cls, point: PointEvidence, states: NDArray[np.float64]) -> "_Level | None":
        if point.air is None:
            return None
        nats = np.asarray(log_sum(point.air + states[:, None], axis=0))
        p = _density(nats)
        mean = float(p @ LEVELS_DB)
        # Nine tenths of it lie between these.
        low, high = np.interp((0.05, 0.95), np.cumsum(p), LEVELS_DB)
        sound = None if point.sound is None else float(_density(point.sound) @ LEVELS_DB)
        spread = float(np.sqrt(p @ (LEVELS_DB - mean) ** 2))
        return cls(mean, spread, float(low), float(high), float(nats.max() - nats[0]), sound, point)

    def named(self, top: float) -> dict[str, float | None]:
        """What counts of it, in the order of ``AT_A_MOUTH``."""
        above = None if self.sound is None else self.mean - self.sound
        heard = float(np.log1p(self.heard_nats))
        levels = (self.mean - top, self.mean, heard, self.low, self.high, self.spread, self.sound, above)
        whistles = self.point.whistle_db is not None
        return dict(zip(AT_A_MOUTH, (*levels, self.point.clipped, whistles), strict=True))


def _density(nats: NDArray[np.float64]) -> NDArray[np.float64]:
    """Probability of each level where none is likelier beforehand [shape=(N,)]."""
    p = np.exp(nats - nats.max())
    return np.asarray(p / p.sum())
