"""From measured points to the judge's evidence: drift over the whole round, likelihoods over levels, bubble counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.judge.evidence import Bubbles, PointEvidence, Readings, RoundEvidence
from listen.judge.grounds import Ground
from listen.judge.loudness import log_likelihood
from listen.rounds.model import Facts
from listen.signal.bands import LOWER_HZ
from listen.signal.contrast import Contrast
from listen.signal.drift import RoundDrift, estimate
from listen.signal.excess import Excess, excess
from listen.signal.point import PointTakes
from listen.signal.steadiness import Steadiness, steadiness
from listen.trade.points import Kind, point
from listen.trade.valves import OpenValve, valves_open

COOLANT_HISS_FROM_HZ = 4000.0
"""At the radiator, bubbles and slosh fill the bands below; only what lies above can be hiss (METHOD, prototype)."""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """One point's excess beside the evidence made of it."""

    takes: PointTakes
    contrast: Contrast | None
    excess: Excess | None
    steadiness: Steadiness | None
    evidence: PointEvidence
    before_shut_off: bool = False
    """Hiss was detected with the cylinder side shut off, above plain quiet."""


def round_drift(points: Sequence[PointTakes]) -> RoundDrift:
    """Posterior over the shop's drift from every repeat of the round."""
    return RoundDrift(*(estimate([r for p in points for r in p.repeats(floors)]) for floors in (False, True)))


def weigh_point(takes: PointTakes, drift: RoundDrift) -> Weighed:
    """Excess and likelihood over levels at one point."""
    contrast = takes.contrast(Kind.AIR)
    own = _drift_of(takes, Kind.AIR, drift)
    measured = excess(contrast, own, takes.live, takes.floor_bias) if contrast else None
    quiet = takes.takes.get(Kind.QUIET) or takes.takes.get(Kind.SHUT)
    background = float(np.mean([10.0 * np.log10(t.mean) for t in quiet])) if quiet else 0.0
    shut = takes.contrast(Kind.SHUT, Kind.QUIET) if takes.takes.get(Kind.QUIET) else None
    airs, quiets = takes.takes.get(Kind.AIR), takes.takes.get(takes.quiet_kind)
    steady = steadiness(quiets, airs) if quiets and airs else None
    return Weighed(
        takes,
        contrast,
        measured,
        steady,
        PointEvidence(
            point(takes.point),
            background,
            _likelihood(takes, contrast, own),
            _likelihood(takes, takes.contrast(Kind.SOUND), _drift_of(takes, Kind.SOUND, drift)),
            _likelihood(takes, shut, drift),
            in_events=steady is not None and steady.in_events,
        ),
        shut is not None and excess(shut, drift, takes.live, takes.floor_bias).detected,
    )


def _drift_of(takes: PointTakes, kind: Kind, drift: RoundDrift) -> RoundDrift:
    """The round's drift, or what stands in its place for a switched take."""
    return takes.locked[kind].scatter if kind in takes.locked else drift


def _likelihood(takes: PointTakes, contrast: Contrast | None, drift: RoundDrift) -> NDArray[np.float64] | None:
    if contrast is None:
        return None
    live = takes.live
    if point(takes.point).holds_coolant:
        upper = LOWER_HZ >= COOLANT_HISS_FROM_HZ * 0.85
        if (live & upper).sum() >= 2:
            contrast, live = contrast.only(upper[live]), live & upper
    return log_likelihood(contrast, live, drift)


def open_valves(facts: Facts) -> Mapping[int, OpenValve | None]:
    """Which valves of the other cylinders stand open, where cylinder and firing order are known."""
    if facts.firing_order is None or facts.cylinder is None or facts.cylinder not in facts.firing_order:
        return {}
    return valves_open(None, facts.firing_order, facts.cylinder)


def grounds(weighed: Sequence[Weighed], air_followed: bool | None = None) -> tuple[Ground, ...]:
    """What each point's clips can carry; whether the needle was seen to follow the valve."""
    return tuple(_ground(w, bool(air_followed)) for w in weighed)


def _ground(w: Weighed, air_followed: bool) -> Ground:
    locked = w.takes.locked.get(Kind.AIR)
    heard = w.excess is not None and w.excess.detected
    return Ground(
        w.evidence.point,
        w.excess is not None,
        float(w.excess.ci95_db[0]) if heard and w.excess is not None else None,
        0.0 if w.excess is None else float(w.excess.detection_limit_db),
        any(f.flag == "automatic-gain" for f in w.takes.flags),
        w.before_shut_off,
        nothing_followed=locked is not None and not (locked.found or heard or air_followed),
    )


def round_evidence(weighed: Sequence[Weighed], facts: Facts) -> RoundEvidence:
    """All evidence of a round."""
    counts = None
    for w in weighed:
        quiet, air = (w.takes.bubbles.get(k) for k in (w.takes.quiet_kind, Kind.AIR))
        if w.evidence.point.holds_coolant and quiet and air:
            counts = Bubbles(quiet.events, quiet.seconds, air.events, air.seconds)
    return RoundEvidence(
        tuple(w.evidence for w in weighed),
        counts,
        Readings(
            loss_percent=facts.loss_percent,
            compression_dry_kpa=facts.compression_dry_kpa,
            compression_wet_kpa=facts.compression_wet_kpa,
            bubbles_seen=facts.bubbles_seen,
            valves=open_valves(facts),
        ),
    )
