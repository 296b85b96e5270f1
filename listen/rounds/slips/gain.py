"""Another gain in one clip."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.rounds.slips.labels import place_db
from listen.rounds.slips.slip import STILL, Blunder, RoundClip
from listen.signal.flags import Flag
from listen.trade.points import Kind

GAIN_DB = 3.5
GAIN_SCATTERS = 4.5
"""One clip's level about its point's others and its walk's others: limit, and times the scatter of all clips. Of 616
clean rounds in recorded shops 6 are doubted (12 at 2.7 dB); of gains of 3-12 dB 74 % are noticed (79 %). In the rest
the shop moves as much by itself: a limit by each clip's own rise and fall costs more than it spares."""
GAIN_SPREAD_DB = 0.8
GAIN_SHARE = 0.3
LIFT_SHARE = 0.1
"""Standard deviation over bands of what one gain did, and that about the gain: the place bands of 3 s scatter by
0.4 dB, a leak that reaches down there rises by 4 dB an octave."""
HISS_APART_DB = 2.0
HISS_APART_SHARE = 0.3
NORMAL_FORTY = 0.5244
"""Four in ten normal deviates lie within so many standard deviations."""
RUMBLE = 4
"""Place bands, 60-260 Hz, that a leak has nothing in and a gain moves like all others."""


def other_gain(clips: Sequence[RoundClip]) -> Blunder | None:
    """One clip louder or softer in all bands than its point's quiet clips, while the rest of its walk is not."""
    shifts = [(c, s) for c in clips if c.mark.kind is not Kind.SOUND and (s := _shift(c, clips)) is not None]
    moved = []
    for c, own in shifts:
        walk = [float(np.median(s)) for d, s in shifts if d.mark.kind is c.mark.kind and d.number == c.number]
        # Of fewer the middle one is no walk: either of two could be the one that moved.
        if len(walk) >= 3:
            everywhere = _less(float(np.median(own)), float(np.median(own[:RUMBLE])))
            moved.append((_less(everywhere, float(np.median(own) - np.median(walk))), _scatter(own), c))
    if not moved:
        return None
    # A low quantile: one clip that moved also moves those it is compared with.
    usual = float(np.quantile([abs(m) for m, _, _ in moved], 0.4)) / NORMAL_FORTY
    limit = max(GAIN_DB, GAIN_SCATTERS * usual)
    gained = [
        (m, c) for m, spread, c in moved if abs(m) > limit and spread < _gain_spread(m, c) and _hiss_moved(m, c, clips)
    ]
    if not gained:
        return None
    change, clip = max(gained, key=lambda found: abs(found[0]))
    text = (
        f"All bands of {clip.words} moved by {change:+.1f} dB about the others there, also where no leak is heard, and "
        f"the rest of the walk did not (limit {limit:.1f} dB): the input gain was another; record {clip.words} again."
    )
    return Blunder(
        Flag(flag="one-other-gain", value=change, limit=limit, text=text, reject=True), (clip.at,), (clip.again,)
    )


def _less(one: float, other: float) -> float:
    """The lesser of two changes of one sign, else none: air lifts whole walks, and one gain moves only its clip."""
    return min(one, other, key=abs) if one * other > 0 else 0.0


def _gain_spread(change_db: float, clip: RoundClip) -> float:
    """How much the bands may differ in what one gain did to all of them; air may lift them nearly alike."""
    lifted = change_db > 0 and clip.mark.kind is Kind.AIR
    return max(GAIN_SPREAD_DB, (LIFT_SHARE if lifted else GAIN_SHARE) * abs(change_db))


def _hiss_moved(change_db: float, clip: RoundClip, clips: Sequence[RoundClip]) -> bool:
    """Whether a quiet clip's hiss bands moved as its low ones did: a lorry that passes moves the low ones alone."""
    rest = [c.mark.wide_db for c in clips if c.at == clip.at and c is not clip and c.mark.kind in STILL]
    if clip.mark.kind not in STILL or not rest:
        return True
    moved = float(np.median(clip.mark.wide_db - np.mean(rest, axis=0)))
    return abs(moved - change_db) < max(HISS_APART_DB, HISS_APART_SHARE * abs(change_db))


def _scatter(values: NDArray[np.float64]) -> float:
    """Standard deviation by the median deviation: one loud tone does not count."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _shift(clip: RoundClip, clips: Sequence[RoundClip]) -> NDArray[np.float64] | None:
    """Place bands of a clip about the other quiet clips of its point, else about all others there."""
    rest = [c for c in clips if c.at == clip.at and c is not clip and c.mark.kind is not Kind.SOUND]
    return None if not rest else np.asarray(clip.mark.place_db - place_db(rest))
