"""From measured points to the judge's evidence: drift over the whole round, likelihoods over levels, bubble counts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.judge.engine import blow_by_learnt
from listen.judge.evidence import Bubbles, PointEvidence, Readings, RoundEvidence
from listen.judge.grounds import Ground
from listen.judge.log_sum import log_sum
from listen.judge.loudness import SharedDrift, log_likelihood
from listen.judge.result import EngineSay, ShopSeen
from listen.judge.taught import Trees
from listen.rounds.model import Facts
from listen.same_fields import same_fields
from listen.signal.bands import LOWER_HZ
from listen.signal.contrast import Contrast
from listen.signal.drift import RoundDrift, estimate
from listen.signal.excess import Excess, excess
from listen.signal.point import PointTakes
from listen.signal.steadiness import Steadiness, steadiness
from listen.trade.points import Kind, point
from listen.trade.transfer import OpenValve, valves_open

COOLANT_HISS_FROM_HZ = 4000.0
"""At the radiator, bubbles and slosh fill the bands below; only what lies above can be hiss (METHOD, prototype)."""

AIR_IN_PART = 0.1
"""Where an air clip is louder for a part of the time, how often that part is the air and not something else: judgement.
In a walk the valve stays open; point by point it may be opened late."""

SAME_TONE_HZ = 100.0
"""Two points have the same whistle where theirs lie no further apart: two of a frame's 23 Hz bins for each of them to
wander with the pressure from one clip to the next. Judgement."""

STEADY_ENOUGH = 0.05**2
"""Variance of a band's log power (0.2 dB) below which steadier is not better. Judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What one point's takes give before the round is looked at as a whole."""

    takes: PointTakes
    contrast: Contrast | None
    excess: Excess | None
    steadiness: Steadiness | None
    before_shut_off: bool | None
    """Hiss was detected with the cylinder side shut off, above plain quiet; None without such clips."""
    clipped_from_db: float | None = None
    """Lower end of the excess where the only air clip is clipped and louder than the quiet one: it is at least this."""


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """A round's points, the drift they share, and the evidence made of them."""

    drift: RoundDrift
    points: tuple[Measured, ...]
    evidence: RoundEvidence


def round_drift(points: Sequence[PointTakes]) -> RoundDrift:
    """Posterior over the shop's drift from every repeat of the round."""
    return RoundDrift(*(estimate([r for p in points for r in p.repeats(floors)]) for floors in (False, True)))


def weigh(
    points: Sequence[PointTakes],
    facts: Facts,
    others: Sequence[EngineSay] = (),
    shop: ShopSeen | None = None,
    taught: Trees | None = None,
) -> Weighed:
    """Weigh all points of a round together: one drift, one background that levels are relative to.

    ``others`` is what the engine's other cylinders say of it, ``shop`` what the shop's own teardowns showed,
    ``taught`` what rounds of known cause did.
    """
    drift = round_drift(points)
    measured = tuple(measure_alone(p, drift) for p in points)
    shares = [m.excess.floor_share for m in measured if m.excess is not None]
    # Means or floors for all points alike: levels of the two could not be compared between points.
    floors = bool(shares) and sum(shares) > 0.5 * len(shares)
    shared = SharedDrift.of(drift.floors if floors else drift.means)
    reference = _reference(points)
    zero = zero_dbfs(reference)
    evidence = tuple(
        replace(e, learnt=blow_by_learnt(others, e.point.id, zero))
        for e in (_evidence(m, shared, reference, floors, measured) for m in measured)
    )
    shut = [m.before_shut_off for m in measured if m.before_shut_off is not None]
    heard = any(shut) if shut else None
    found = RoundEvidence(evidence, _bubbles(points), _readings(facts), heard, shared.log_weight, zero, shop, taught)
    return Weighed(drift, measured, found)


def measure_alone(takes: PointTakes, drift: RoundDrift) -> Measured:
    """Excess and steadiness at one point."""
    contrast = takes.contrast(Kind.AIR)
    # Excess per point as it is shown; the judge goes by likelihoods over levels, below.
    scatter = takes.locked[Kind.AIR].scatter if Kind.AIR in takes.locked else drift
    found = excess(contrast, scatter, takes.live, takes.floor_bias) if contrast else None
    least = takes.least_contrast()
    clipped = excess(least, drift, takes.live, takes.floor_bias) if least else None
    # Against the plain quiet: the supply-on quiet is what would hide a fitting that leaks before the shut-off.
    shut = takes.contrast(Kind.SHUT, Kind.QUIET) if takes.takes.get(Kind.QUIET) else None
    airs, quiets = takes.takes.get(Kind.AIR), takes.takes.get(takes.quiet_kind)
    return Measured(
        takes,
        contrast,
        found,
        steadiness(quiets, airs) if quiets and airs else None,
        None if shut is None else excess(shut, drift, takes.live, takes.floor_bias).detected,
        float(clipped.ci95_db[0]) if clipped is not None and clipped.detected else None,
    )


def _reference(points: Sequence[PointTakes]) -> NDArray[np.float64]:
    """What levels are relative to: power in each band that counts alike, the same at all points [shape=(13,)].

    The mean background over points, more where it is restless: a band that comes and goes by itself says little.
    Infinite where no point hears the band.
    """
    # Logarithms: one loud point would otherwise be the background of all.
    background = np.full((len(points), len(LOWER_HZ)), np.nan)
    variance = np.full_like(background, np.nan)
    for i, p in enumerate(points):
        if quiet := p.takes.get(p.quiet_kind):
            background[i, p.live] = np.log(np.mean([t.mean for t in quiet], axis=0))
            variance[i, p.live] = np.log(np.mean([np.diag(t.cov) for t in quiet], axis=0))
    heard = np.isfinite(background).any(axis=0)
    out = np.full(len(LOWER_HZ), np.inf)
    # Points without a usable clip hold no number and are passed over by nanmean.
    unrest = np.exp(np.nanmean(variance[:, heard], axis=0))
    weight = 1.0 / (unrest + STEADY_ENOUGH)
    if not heard.any():
        return out
    out[heard] = np.exp(np.nanmean(background[:, heard], axis=0)) * weight.mean() / weight
    return out


def zero_dbfs(reference: NDArray[np.float64]) -> float:
    """Power, re full scale, of a hiss alike in all bands at level 0 dB about this reference."""
    heard = reference[np.isfinite(reference)]
    return float(-10.0 * np.log10(np.mean(1.0 / heard))) if len(heard) else 0.0


def _evidence(
    m: Measured, shared: SharedDrift, reference: NDArray[np.float64], floors: bool, points: Sequence[Measured]
) -> PointEvidence:
    takes = m.takes
    sound = _likelihood(takes, Kind.SOUND, shared, reference, floors)
    return PointEvidence(
        point(takes.point),
        _likelihood(takes, Kind.AIR, shared, reference, floors),
        None if sound is None else np.asarray(log_sum(sound + shared.log_weight[:, None], axis=0)),
        in_events=m.steadiness is not None and m.steadiness.in_events,
        switched=Kind.AIR in takes.locked,
        clipped=m.clipped_from_db is not None,
        # A whistle that a rival's point has too may come from an adapter; then it tells no path from another.
        whistle_db=takes.whistle_db if _whistles_alone(takes, points) else None,
    )


def _likelihood(
    takes: PointTakes, kind: Kind, shared: SharedDrift, reference: NDArray[np.float64], floors: bool
) -> NDArray[np.float64] | None:
    contrast = takes.contrast(kind)
    louder = takes.louder_contrast() if kind is Kind.AIR and kind not in takes.locked else None
    # A clipped clip is at least so loud; of no clip at all nothing is said.
    clipped = contrast is None and kind is Kind.AIR
    if clipped:
        contrast = takes.least_contrast()
    if contrast is None:
        return None
    own = takes.locked.get(kind)
    drift = shared if own is None else SharedDrift.of(own.scatter.floors if floors else own.scatter.means)
    found = _by_level(takes, contrast, drift, reference, floors)
    if louder is not None:
        # If the air was on in the louder part only, there was none in the rest.
        part = found[:, :1] + _by_level(takes, louder, drift, reference, floors)
        return np.asarray(np.logaddexp(np.log(1.0 - AIR_IN_PART) + found, np.log(AIR_IN_PART) + part))
    if clipped:  # any level louder than what the clipped samples hold is as likely as that
        return np.asarray(np.maximum.accumulate(found, axis=1))
    if own is None:
        return found
    # What a switched take leaves open is its own: the drift of the walk is no part of it.
    alone = np.asarray(log_sum(found + drift.log_weight[:, None], axis=0))
    # The same under every state of the walk's drift, of which it knows nothing.
    return np.broadcast_to(alone, (len(shared.log_weight), len(alone)))


def _by_level(
    takes: PointTakes, contrast: Contrast, drift: SharedDrift, reference: NDArray[np.float64], floors: bool
) -> NDArray[np.float64]:
    """Log likelihood of each state of the drift and each level of hiss, by one contrast [shape=(X, N)]."""
    live = takes.live
    if point(takes.point).holds_coolant:
        # 0.85: the third octave of 4 kHz begins at 3.55 kHz.
        upper = LOWER_HZ >= COOLANT_HISS_FROM_HZ * 0.85
        # With fewer a clip of a narrow voice path would be left without a band: then all of them count.
        if (live & upper).sum() >= 2:
            contrast, live = contrast.only(upper[live]), live & upper
    if floors:
        rho, cov = contrast.rho_floor, contrast.quiet.floor_cov + contrast.air.floor_cov
    else:
        rho, cov = contrast.rho, contrast.quiet.cov + contrast.air.cov
    return log_likelihood(rho, cov, contrast, live, drift, reference)


def open_valves(facts: Facts) -> Mapping[int, OpenValve | None]:
    """Which valves of the other cylinders stand open, where cylinder and firing order are known."""
    if facts.firing_order is None or facts.cylinder is None or facts.cylinder not in facts.firing_order:
        return {}
    return valves_open(None, facts.firing_order, facts.cylinder)


def grounds(weighed: Weighed, air_followed: bool | None = None) -> tuple[Ground, ...]:
    """What each point's clips can carry; whether the needle was seen to follow the valve."""
    both = zip(weighed.points, weighed.evidence.points, strict=True)
    return tuple(_ground(m, e, bool(air_followed), weighed.points) for m, e in both)


def _ground(m: Measured, e: PointEvidence, air_followed: bool, points: Sequence[Measured]) -> Ground:
    locked = m.takes.locked.get(Kind.AIR)
    heard = m.excess is not None and m.excess.detected
    return Ground(
        e.point,
        e.air is not None and m.contrast is not None,
        float(m.excess.ci95_db[0]) if heard and m.excess is not None else m.clipped_from_db,
        0.0 if m.excess is None else float(m.excess.detection_limit_db),
        any(f.flag == "automatic-gain" for f in m.takes.flags),
        bool(m.before_shut_off),
        nothing_followed=locked is not None and not (locked.found or heard or air_followed),
        whistles=m.takes.whistle_db is not None,
        # Where other points have whistles of their own, tones come and go in the shop: then this one is no ground.
        whistles_alone=_whistles_alone(m.takes, points)
        and not any(t.whistle_hz is not None for t in _rivals(m.takes, points)),
    )


def _whistles_alone(own: PointTakes, points: Sequence[Measured]) -> bool:
    """Whether no point of another path has this one's whistle, not even as a faint tone."""
    return own.whistle_hz is not None and not any(
        abs(hz - own.whistle_hz) <= SAME_TONE_HZ for takes in _rivals(own, points) for hz in takes.tones_hz
    )


def _rivals(own: PointTakes, points: Sequence[Measured]) -> list[PointTakes]:
    """Points of other paths; two tailpipes of one exhaust valve may share a whistle."""
    paths = set(point(own.point).row.own)
    return [m.takes for m in points if not paths & set(point(m.takes.point).row.own)]


def _bubbles(points: Sequence[PointTakes]) -> Bubbles | None:
    counts = None
    for p in points:
        quiet, air = (p.bubbles.get(k) for k in (p.quiet_kind, Kind.AIR))
        if point(p.point).holds_coolant and quiet and air:
            counts = Bubbles(quiet.events, quiet.seconds, air.events, air.seconds)
    return counts


def _readings(facts: Facts) -> Readings:
    pressures = "supply_kpa", "compression_dry_kpa", "compression_wet_kpa"
    others = "loss_percent", "loss_others_percent", "restrictor_mm", "bubbles_seen", "top_found_again"
    return Readings(**same_fields(facts, *pressures, *others), valves=open_valves(facts))
