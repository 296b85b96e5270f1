"""One point's numbers in the form of a result, with flags for what could not be computed."""

from collections.abc import Sequence

import msgspec

from listen.judge.grounds import more_than_blow_by
from listen.judge.result import BubbleRates, PointResult
from listen.rounds.weigh import Measured
from listen.signal.contrast import hiss_level
from listen.signal.drift import RoundDrift
from listen.signal.flags import Flag
from listen.signal.point import MIN_LIVE_BANDS
from listen.trade.points import Kind, point

DIGITS = 3
"""Decibels are given to a thousandth: finer than any of them is known, and the same on every run."""


def nothing_measured(at: str, unit: str, flags: tuple[Flag, ...], bubbles: BubbleRates) -> PointResult:
    """A point of which no number can be given; the flags say why."""
    return PointResult(
        point=at,
        excess_db=None,
        excess_ci95_db=None,
        level_db=None,
        level_is_upper_bound=False,
        level_unit=unit,
        detected=False,
        detection_limit_db=None,
        drift_db=None,
        bubbles_per_s=bubbles,
        flags=flags,
    )


def point_result(w: Measured, drift: RoundDrift, calibration_db: float | None = None) -> PointResult:
    """The point's part of a result; levels in dB SPL where the microphone was calibrated."""
    unit = "dBFS" if calibration_db is None else "dB SPL"
    rates = BubbleRates(*(_rate(w, k) for k in (w.takes.quiet_kind, Kind.AIR)))
    flags = w.takes.flags + _own_flags(w)
    nothing = nothing_measured(w.takes.point, unit, flags, rates)
    if w.excess is None or w.contrast is None:
        return nothing
    locked = w.takes.locked.get(Kind.AIR)
    level = hiss_level(w.contrast, calibration_db or 0.0)
    low, high = w.excess.ci95_db
    return msgspec.structs.replace(
        nothing,
        excess_db=round(float(w.excess.excess_db), DIGITS),
        excess_ci95_db=(round(float(low), DIGITS), round(float(high), DIGITS)),
        level_db=round(level.level_db, DIGITS),
        level_is_upper_bound=level.is_upper_bound,
        detected=w.excess.detected,
        detection_limit_db=round(float(w.excess.detection_limit_db), DIGITS),
        drift_db=round(drift.means.rms_db if locked is None else locked.quiet_db, DIGITS),
        taken="walks" if locked is None else "switched",
        cycles=None if locked is None else locked.cycles,
        decay_s=None if locked is None or locked.decay_s is None else round(locked.decay_s, DIGITS),
    )


def _rate(w: Measured, kind: Kind) -> float:
    count = w.takes.bubbles.get(kind)
    return round(count.rate_hz, DIGITS) if count else 0.0


def _own_flags(w: Measured) -> tuple[Flag, ...]:
    out = []
    bands = int(w.takes.live.sum())
    if bands < MIN_LIVE_BANDS:
        text = (
            f"Only {bands} third octaves can be read, {MIN_LIVE_BANDS} are needed to tell hiss from hum: the others "
            "carry no sound or are full of tones; stop what whines, or record with another microphone or setting."
        )
        out.append(Flag(flag="no-hiss-band", value=bands, limit=MIN_LIVE_BANDS, text=text, reject=True))
    elif w.excess is None:
        have = sum(len(w.takes.takes.get(k, ())) > 0 for k in (w.takes.quiet_kind, Kind.AIR))
        text = "A usable quiet clip and a usable air clip are both needed here; record the missing one again."
        out.append(Flag(flag="no-pair", value=have, limit=2, text=text, reject=True))
    if w.steadiness is not None and w.steadiness.in_events and w.excess is not None and w.excess.detected:
        text = (
            f"What the air clip has more is not steady like escaping air (spectral kurtosis {w.steadiness.found:.1f}, "
            f"a steady hiss leaves {w.steadiness.steady:.1f}); something else may have sounded, record the air again."
        )
        found, limit = round(w.steadiness.found, DIGITS), round(w.steadiness.limit, DIGITS)
        out.append(Flag(flag="increase-in-events", value=found, limit=limit, text=text))
    if w.takes.tones_hz:
        hz = w.takes.tones_hz[0]
        text = f"A whistle at {hz:.0f} Hz comes with the air; it is kept out of the hiss. Look for an edge or a slit."
        out.append(Flag(flag="whistle", value=round(hz, 1), limit=0.0, text=text))
    return tuple(out)


def unseen_sentence(weighed: Sequence[Measured]) -> str:
    """What a sound cylinder's verdict says was heard; where nothing was, what would have been at the deafest point."""
    seen = [(w.excess, point(w.takes.point)) for w in weighed if w.excess is not None]
    loud = [at.words for x, at in seen if x.detected and more_than_blow_by(at, float(x.ci95_db[0]))]
    if loud:
        where = f"{' and the '.join(loud)} {'is' if len(loud) == 1 else 'are'}"
        return f"no more air than past sound cylinders that lose as little. The {where} louder with the air on"
    if not seen:
        return ""
    # The largest limit: what would have been seen there would have been seen anywhere.
    limit, where = max((x.detection_limit_db, at.words) for x, at in seen)
    heard = f"An excess of {limit:.1f} dB would have been seen at every point recorded (least keenly at the {where})"
    return f"nothing beyond normal blow-by. {heard}"
