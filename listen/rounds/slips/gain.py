"""Finds a clip recorded at another input gain than its point's other clips, while the rest of its walk was not."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from listen.rounds.slips.slip import STILL, Blunder, RoundClip
from listen.signal.flags import Flag
from listen.signal.take import MAD_TO_SIGMA
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
MOST_LIFT_DB = 15.0
"""An air clip that rose by more low down has a leak at its mouth: two of a stranger's 139 rounds had one of 50 dB that
rose alike at 60-500 Hz. A gain was seldom turned that far: judgement."""
HISS_APART_DB = 2.0
HISS_APART_SHARE = 0.3
NORMAL_FORTY = 0.5244
"""Four in ten normal deviates lie within so many standard deviations."""
RUMBLE = 4
"""Place bands, 60-260 Hz, that a leak has nothing in and a gain moves like all others."""
STEADY = 6
STEADY_GAIN_DB = 2.5
STEADY_TIMES = 3.0
LEVEL_SHARE = 0.67
STEADY_APART_DB, REST_APART_DB, APART_SHARE = 1.0, 2.0, 0.25
STEADY_FLOOR_DB = 0.3
"""The bands that move least at all other points (the microphone's own noise above a rumble) tell a gain of a quiet clip
best. Limit, and times what they move by elsewhere: band by band, and the most any point's level does, of which so much
counts; how much the bands may differ. Of 1,171 clean rounds (worlds, recorded shops made without the simulator, a
stranger's) 1 is doubted for it; of gains of 3-12 dB worked into these it adds 7 of 100 in worlds, 16 in shops."""

Change = tuple[RoundClip, NDArray[np.float64]]
"""A clip, and what its place and hiss bands changed by about its point's other clips [shape=(B,)]."""


def other_gain(clips: Sequence[RoundClip]) -> Blunder | None:
    """One clip louder or softer in all bands than its point's quiet clips, while the rest of its walk is not."""
    changes = _changes([c for c in clips if c.mark.kind is not Kind.SOUND])
    gained = [*_low_down(changes), *_where_steady(changes)]
    if not gained:
        return None
    at = max(gained, key=lambda found: abs(found[0]))[2].at
    low = [(c, np.median(c.mark.place_db[:RUMBLE])) for c, _ in changes if c.at == at]
    # Two clips moved about each other: the odd one is that without which the others agree best, low down. Of 732 gains
    # of quiet clips that were noticed 709 are put on the right clip, by the greatest change 385.
    change, limit, clip = min(
        (found for found in gained if found[2].at == at),
        key=lambda found: float(np.ptp([db for c, db in low if c is not found[2]])),
    )
    still = clip.mark.kind in STILL
    text = (
        f"All bands of {clip.words} moved by {change:+.1f} dB about the others there, also where no leak is heard, and "
        f"the rest of the walk did not (limit {limit:.1f} dB): the input gain was another"
    )
    # A quiet clip is told as the odd one by those that agree without it; what those say needs no doubt.
    text += ", or something passed; this clip is left out." if still else f"; record {clip.words} again."
    flag = Flag(flag="one-other-gain", value=change, limit=limit, text=text, reject=not still)
    return replace(Blunder.of(flag, clip), left_out=(clip.mark,) if still else ())


def _changes(clips: Sequence[RoundClip]) -> list[Change]:
    wide = min((len(c.mark.wide_db) for c in clips), default=0)
    bands = {id(c): np.concatenate([c.mark.place_db, c.mark.wide_db[:wide]], dtype=np.float64) for c in clips}
    found = []
    for c in clips:
        rest = [d for d in clips if d.at == c.at and d is not c]
        # Clips without air where there are any: a leak moves the others too.
        rest = [d for d in rest if d.mark.kind in STILL] or rest
        if rest:
            found.append((c, bands[id(c)] - np.mean([bands[id(d)] for d in rest], axis=0)))
    return found


def _told_again(changes: Sequence[Change]) -> list[RoundClip]:
    """Clips without air at points that have another such clip."""
    still = [c for c, _ in changes if c.mark.kind in STILL]
    return [c for c in still if sum(d.at == c.at for d in still) > 1]


def _walk(clip: RoundClip, changes: Sequence[Change], but: str = "") -> list[NDArray[np.float64]]:
    """What the clips of other points in a clip's walk changed by, without those of a point ``but``."""
    mark, others = clip.mark, [(d, own) for d, own in changes if d.at not in (clip.at, but)]
    return [own for d, own in others if d.mark.kind is mark.kind and d.number == clip.number]


def _low_down(changes: Sequence[Change]) -> list[tuple[float, float, RoundClip]]:
    """Clips whose place bands moved alike: by how much, the limit, the clip."""
    moved = []
    for c, own in changes:
        place, hiss = np.split(own, [len(c.mark.place_db)])
        walk = [float(np.median(rest[: len(place)])) for rest in (own, *_walk(c, changes))]
        # Of fewer the middle one is no walk: either of two could be the one that moved.
        if len(walk) >= 3:
            everywhere = _less(float(np.median(place)), float(np.median(place[:RUMBLE])))
            moved.append((_less(everywhere, walk[0] - float(np.median(walk))), place, hiss, c))
    if not moved:
        return []
    # A low quantile: one clip that moved also moves those it is compared with.
    usual = float(np.quantile([abs(change) for change, *_ in moved], 0.4)) / NORMAL_FORTY
    limit = max(GAIN_DB, GAIN_SCATTERS * usual)
    still = _told_again(changes)
    return [
        (change, limit, c)
        for change, place, hiss, c in moved
        if abs(change) > limit and _alike(change, place, c) and (c not in still or _hiss_moved(change, hiss))
    ]


def _where_steady(changes: Sequence[Change]) -> list[tuple[float, float, RoundClip]]:
    """The same of quiet clips by the bands that hold still at all other points."""
    still = _told_again(changes)
    quiet = [(c, own) for c, own in changes if c in still]
    found = []
    for c, own in quiet:
        if len(walk := _walk(c, quiet)) < 2:
            continue
        # Without this clip's point: if its gain was another, the middle of a short walk moved with it.
        others = [(d, own, _walk(d, quiet, c.at)) for d, own in quiet if d.at != c.at]
        elsewhere = np.array([own - np.median(rest, axis=0) for _, own, rest in others if rest])
        usual = np.sqrt(np.mean(elsewhere**2, axis=0) + STEADY_FLOOR_DB**2)
        steady, rest = np.split(np.argsort(usual), [STEADY])
        about = own - np.median(walk, axis=0)
        change = float(np.median(about[steady]))
        level = LEVEL_SHARE * float(np.abs(np.median(elsewhere[:, steady], axis=1)).max())
        limit = max(STEADY_GAIN_DB, STEADY_TIMES * max(float(np.median(usual[steady])), level))
        apart, may = np.abs(about - change), APART_SHARE * abs(change)
        alike = apart[steady].max() <= max(STEADY_APART_DB, may)
        # Something that hisses at this point moves the steady bands alone.
        all_moved = np.mean(apart[rest] < np.maximum(max(REST_APART_DB, may), 2.0 * usual[rest])) >= 0.5
        if abs(change) >= limit and alike and all_moved:
            found.append((change, limit, c))
    return found


def _less(one: float, other: float) -> float:
    """The lesser of two changes of one sign, else none: air lifts whole walks, and one gain moves only its clip."""
    return min(one, other, key=abs) if one * other > 0 else 0.0


def _alike(change_db: float, place_db: NDArray[np.float64], clip: RoundClip) -> bool:
    """Whether the place bands moved as alike as by one gain; air lifts them, too, nearly alike and by any amount."""
    lifted = change_db > 0 and clip.mark.kind is Kind.AIR
    most = max(GAIN_SPREAD_DB, (LIFT_SHARE if lifted else GAIN_SHARE) * abs(change_db))
    # By the median deviation: one loud tone does not count.
    scatter = MAD_TO_SIGMA * float(np.median(np.abs(place_db - np.median(place_db))))
    return scatter < most and not (lifted and change_db > MOST_LIFT_DB)


def _hiss_moved(change_db: float, hiss_db: NDArray[np.float64]) -> bool:
    """Whether a quiet clip's hiss bands moved as its low ones did: a lorry that passes moves the low ones alone."""
    return abs(float(np.median(hiss_db)) - change_db) < max(HISS_APART_DB, HISS_APART_SHARE * abs(change_db))
