"""Slips of the person recording that only the whole round shows: one recording under two labels, labels swapped, air on
during the quiet walk, another gain in one clip.

Each is a row: what it is called, its limit, the sentence. Nothing may be named on a round that has one; the points
concerned lose their air clips.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.rounds.places import SHIFT_DB, USUAL_SPREAD_DB, best_exchange
from listen.signal.clip_print import ClipPrint, likeness
from listen.signal.flags import Flag
from listen.signal.point import PointTakes
from listen.trade.points import Kind, point
from listen.voice.figures import share

STILL = (Kind.QUIET, Kind.SHUT)
"""Clips without air in the cylinder."""
COPY_LIKENESS = 0.3
"""Copies (quieter, offset, cut at one end, in 10 bits, through MP3, Vorbis and Opus) are .88 alike and more, the most
alike of 1,770 pairs of recordings .06."""
SWAP_DB = 8.7
"""Evidence for other labels, decibans (2 nats) for two exchanged, in proportion for more: of 700 clean rounds of eight
worlds and of recorded shops 1 % reach it; of exchanged pairs 93-100 % where the points sound apart, 26-43 % in the two
sets whose points sound alike (labels of measured rounds exchanged; ``python -m tests slips`` makes them anew)."""
GAIN_DB = 2.7
GAIN_SCATTERS = 4.5
"""One clip's level about its point's others and its walk's others: limit, and times the scatter of all clips."""
GAIN_SPREAD_DB = 0.8
GAIN_SHARE = 0.3
LIFT_SHARE = 0.1
"""Standard deviation over bands of what one gain did, and that about the gain: the place bands of 3 s scatter by
0.4 dB, a leak that reaches down there rises by 4 dB an octave."""
HISS_APART_DB = 2.0
HISS_APART_SHARE = 0.3
NORMAL_FORTY = 0.5244
"""Four in ten normal deviates lie within so many standard deviations."""
QUIET_AIR_DB = 2.0
QUIET_AIR_APART_DB = 1.0
QUIET_AIR_SHARE = 0.2
"""A quiet clip that hisses so much above another of its point, of a walk whose quiet clips are all as their air clips
within so much or that share of it: a shop that grows louder at one point is seldom as loud in every air clip. Clean
rounds of eight worlds 0 of 181, of recorded shops 6 of 208; three times as many where only the point itself counts."""

STEP_SIGMA = 6.0
STEP_TIMES = 1.4
"""How clearly a part of an air clip stands out of the rest: standard deviations of chance, and times what a part of a
quiet clip does. Of clean rounds of eight worlds 4 of 181 are doubted, in recorded shops none of 172; what is blown off
is noticed in 51 of 60. Both were chosen on those rounds."""
STEP_STRETCHES = 3
"""Least stretches inside and outside: a knock and its echoes fill one or two."""
STRETCH_DB = 0.15
"""What a stretch's level strays by in the steadiest shop, standard deviation."""


@dataclass(frozen=True, slots=True)
class Blunder:
    """What was found, and at which points."""

    flag: Flag
    points: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Clip:
    at: str
    number: int
    """Place among the clips of its kind at its point."""
    mark: ClipPrint

    @property
    def words(self) -> str:
        return f"the {self.mark.kind} clip of the {point(self.at).words}"


def blunders(points: Sequence[PointTakes]) -> tuple[Blunder, ...]:
    """Slips in a round; none in a clean one."""
    clips = []
    for p in points:
        seen: dict[Kind, int] = {}
        for mark in p.prints:
            seen[mark.kind] = seen.get(mark.kind, 0) + 1
            clips.append(_Clip(p.point, seen[mark.kind], mark))
    return tuple(b for find in FINDERS if (b := find(clips)) is not None)


def without(points: Sequence[PointTakes], found: Sequence[Blunder]) -> list[PointTakes]:
    """The same points with the flags, and without the air clips that can no longer be compared with anything."""
    out = []
    for p in points:
        flags = tuple(b.flag for b in found if p.point in b.points)
        kept = {k: t for k, t in p.takes.items() if not flags or k is not Kind.AIR}
        out.append(replace(p, flags=p.flags + flags, takes=kept) if flags else p)
    return out


def same_sound(clips: Sequence[_Clip]) -> Blunder | None:
    """One recording under two labels, louder or softer, coded, or cut at one end; cut at both it is not known."""
    alike = likeness([c.mark for c in clips])
    if not alike.size or (found := float(alike.max())) < COPY_LIKENESS:
        return None
    one, other = (clips[int(i)] for i in np.unravel_index(int(alike.argmax()), alike.shape))
    # In the order recorded, whichever way the likeness was worked out.
    first, second = sorted((one, other), key=lambda c: clips.index(c))
    where = f"{first.words} and {second.words}" if first.words != second.words else f"two clips for {first.words}"
    text = (
        f"The same sound is in {where} ({share(found)} alike, two recordings are below "
        f"{share(COPY_LIKENESS)}): one was copied or stored twice; record both again."
    )
    flag = Flag(flag="same-sound", value=found, limit=COPY_LIKENESS, text=text, reject=True)
    return Blunder(flag, tuple(dict.fromkeys((first.at, second.at))))


def swapped_labels(clips: Sequence[_Clip]) -> Blunder | None:
    """Clips of one walk that fit each other's points by the room's sound better than their own."""
    spread_db, level_db = _repeat_spread_db(clips)
    found: list[tuple[float, Kind, list[str]]] = []
    for kind, number in dict.fromkeys((c.mark.kind, c.number) for c in clips):
        layer = [c for c in clips if c.mark.kind is kind and c.number == number]
        rest = [[d for d in clips if d.at == c.at and d is not c and d.mark.kind in STILL] for c in layer]
        pairs = [(c, others) for c, others in zip(layer, rest, strict=True) if others]
        # Two clips at least: a swap needs two labels.
        if len(pairs) < 2:
            continue
        moved, gain_db = best_exchange(
            np.array([c.mark.place_db for c, _ in pairs], dtype=np.float64),
            np.array([_place(others) for _, others in pairs]),
            min(len(others) for _, others in pairs),
            spread_db,
            level_db,
            air=kind not in STILL,
        )
        # A sound cylinder may have been walked in another hour, when every place sounded otherwise: two exchanged are a
        # slip, all of them are another shop.
        if kind is not Kind.SOUND or len(moved) == 2:
            # A jumble of many is the rarer slip, and what a shop that changed between two walks looks like.
            found.append((gain_db * 2 / max(2, len(moved)), kind, [pairs[i][0].at for i in moved]))
    gain_db, kind, at = max(found, default=(0.0, Kind.AIR, []), key=lambda one: one[0])
    if gain_db < SWAP_DB:
        return None
    where = " and ".join(point(p).words for p in at)
    text = (
        f"By the room's sound at 60-900 Hz the {kind} clips of {where} belong to each other's points (evidence "
        f"{gain_db:.0f} dB, limit {SWAP_DB:.0f} dB): the labels look swapped; record both again."
    )
    return Blunder(Flag(flag="swapped-labels", value=gain_db, limit=SWAP_DB, text=text, reject=True), tuple(at))


def _repeat_spread_db(clips: Sequence[_Clip]) -> tuple[float, float]:
    """How much quiet clips of one point differ: band by band with their levels apart, the middle one of the points; and
    in level, over all points."""
    bands, levels = [], []
    for at in dict.fromkeys(c.at for c in clips):
        here = np.array([c.mark.place_db for c in clips if c.at == at and c.mark.kind in STILL], dtype=np.float64)
        if len(here) > 1:
            d = here - here.mean(axis=0)
            level = d.mean(axis=1, keepdims=True)
            levels.append(float((level**2).sum() / (len(d) - 1)))
            bands.append(float(((d - level) ** 2).sum() / ((len(d) - 1) * d.shape[1])))
    return (float(np.sqrt(np.median(bands))), float(np.sqrt(np.mean(levels)))) if bands else (USUAL_SPREAD_DB, SHIFT_DB)


def _place(clips: Sequence[_Clip]) -> NDArray[np.float64]:
    """Place bands of the quiet clips, else of all."""
    quiet = [c for c in clips if c.mark.kind in STILL] or list(clips)
    return np.asarray(np.mean([c.mark.place_db for c in quiet], axis=0), dtype=np.float64)


def quiet_with_air(clips: Sequence[_Clip]) -> Blunder | None:
    """A quiet walk in which a clip hisses above another of its point, and all are just as the air clips are."""
    found: list[tuple[float, str]] = []
    quiets = [c for c in clips if c.mark.kind is Kind.QUIET]
    for number in dict.fromkeys(c.number for c in quiets):
        hisses, apart = [], 0.0
        for c in (c for c in quiets if c.number == number):
            airs = [d.mark for d in clips if d.at == c.at and d.mark.kind is Kind.AIR]
            others = [d.mark for d in quiets if d.at == c.at and d is not c]
            if airs and others:
                hisses.append((max(_hiss_over(c.mark, other) for other in others), c.at))
                apart = max(apart, min(float(np.median(np.abs(c.mark.wide_db - air.wide_db))) for air in airs))
        loudest, _ = max(hisses, default=(0.0, ""))
        if loudest > QUIET_AIR_DB and apart < max(QUIET_AIR_APART_DB, QUIET_AIR_SHARE * loudest):
            found += [(db, at) for db, at in hisses if db > QUIET_AIR_DB]
    if not found:
        return None
    excess, at = max(found)
    text = (
        f"At the {point(at).words} one quiet clip hisses {excess:.1f} dB above the other and as loud as the air clip: "
        "the air was still on, or something else hissed from then on; shut the air off, wait for the gauge to fall to "
        "zero and walk the quiet clips again."
    )
    flag = Flag(flag="air-in-quiet", value=excess, limit=QUIET_AIR_DB, text=text, reject=True)
    return Blunder(flag, tuple(dict.fromkeys(at for _, at in found)))


def _hiss_over(one: ClipPrint, other: ClipPrint) -> float:
    """How much louder the hiss bands are than in another clip of the point, dB; none within what either does itself."""
    # Louder, and louder than the rumble: wind that drops leaves the hiss where it was.
    rise = np.median(one.wide_db - other.wide_db) - max(0.0, np.median(one.place_db - other.place_db))
    within = max(_quarters(m.course_db.mean(axis=1)) for m in (one, other))
    return float(rise) if rise > within else 0.0


RUMBLE = 4
"""Place bands, 60-260 Hz, that a leak has nothing in and a gain moves like all others."""


def other_gain(clips: Sequence[_Clip]) -> Blunder | None:
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
        f"All bands of {clip.words} moved by {change:+.1f} dB about its quiet clips, also where no leak is heard, and "
        f"the rest of the walk did not (limit {limit:.1f} dB): the input gain was another; record this point again."
    )
    return Blunder(Flag(flag="one-other-gain", value=change, limit=limit, text=text, reject=True), (clip.at,))


def _less(one: float, other: float) -> float:
    """The lesser of two changes of one sign, else none: air lifts whole walks, and one gain moves only its clip."""
    return min(one, other, key=abs) if one * other > 0 else 0.0


def _gain_spread(change_db: float, clip: _Clip) -> float:
    """How much the bands may differ in what one gain did to all of them; air may lift them nearly alike."""
    lifted = change_db > 0 and clip.mark.kind is Kind.AIR
    return max(GAIN_SPREAD_DB, (LIFT_SHARE if lifted else GAIN_SHARE) * abs(change_db))


def _hiss_moved(change_db: float, clip: _Clip, clips: Sequence[_Clip]) -> bool:
    """Whether a quiet clip's hiss bands moved as its low ones did: a lorry that passes moves the low ones alone."""
    rest = [c.mark.wide_db for c in clips if c.at == clip.at and c is not clip and c.mark.kind in STILL]
    if clip.mark.kind not in STILL or not rest:
        return True
    moved = float(np.median(clip.mark.wide_db - np.mean(rest, axis=0)))
    return abs(moved - change_db) < max(HISS_APART_DB, HISS_APART_SHARE * abs(change_db))


def _scatter(values: NDArray[np.float64]) -> float:
    """Standard deviation by the median deviation: one loud tone does not count."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _shift(clip: _Clip, clips: Sequence[_Clip]) -> NDArray[np.float64] | None:
    """Place bands of a clip about the other quiet clips of its point, else about all others there."""
    rest = [c for c in clips if c.at == clip.at and c is not clip and c.mark.kind is not Kind.SOUND]
    return None if not rest else np.asarray(clip.mark.place_db - _place(rest))


def part_of_the_time(clips: Sequence[_Clip]) -> Blunder | None:
    """An air clip with something in it that begins or ends, as escaping air does not."""
    quiets = [c for c in clips if c.mark.kind is Kind.QUIET]
    airs = [c for c in clips if c.mark.kind is Kind.AIR and any(q.at == c.at for q in quiets)]
    bands = min((c.mark.course_db.shape[1] for c in (*quiets, *airs)), default=0)
    if bands < 2:
        return None
    steps = [(*_beyond_chance(c, quiets, bands), c.at) for c in airs]
    found = [(sigma, limit, rise_db, at) for sigma, limit, rise_db, at in steps if sigma > limit]
    if not found:
        return None
    sigma, limit, rise_db, at = max(found)
    text = (
        f"Within the air clip of the {point(at).words} the hiss is {rise_db:.1f} dB louder for a part of the time, "
        f"{sigma:.0f} times what chance makes of the quiet clips (limit {limit:.0f}): escaping air is steady, "
        "something else sounded; record the air again."
    )
    flag = Flag(flag="part-of-the-time", value=sigma, limit=limit, text=text, reject=True)
    return Blunder(flag, tuple(dict.fromkeys(at for *_, at in found)))


def _beyond_chance(air: _Clip, quiets: Sequence[_Clip], bands: int) -> tuple[float, float, float]:
    """The clearest rise in an air clip: standard deviations of chance, what would be too many, and decibels.

    Chance is what the shop does in the quiet clips, plainly and through a steady hiss as loud as the air clip's own:
    where a hiss fills some bands the others alone rise and fall with the shop, which no quiet clip does. Of 68 rounds
    in shops that rise and fall in all bands at once, 14 were doubted without the latter, 1 with it.
    """
    course = air.mark.course_db[:, :bands]
    own = np.mean([q.mark.course_db[:, :bands].mean(axis=0) for q in quiets if q.at == air.at], axis=0)
    hiss = np.maximum(_power(course.mean(axis=0)) - _power(own), 0.0)
    moves = [q.mark.course_db[:, :bands] - q.mark.course_db[:, :bands].mean(axis=0) for q in quiets]
    chance = [*moves, *(10.0 * np.log10(_power(own + move) + hiss) for move in moves)]
    scatter = np.concatenate([c - c.mean(axis=0) for c in chance])
    # Something on the diagonal: few quiet stretches would leave directions that never moved, and infinitely sure ones.
    precision = np.linalg.inv(scatter.T @ scatter / len(scatter) + STRETCH_DB**2 * np.eye(bands))
    sigma, rise_db = _step(course, precision)
    return sigma, max(STEP_SIGMA, STEP_TIMES * max(_step(c, precision)[0] for c in chance)), rise_db


def _power(level_db: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(10.0 ** (level_db / 10.0))


def _step(course_db: NDArray[Any], precision: NDArray[np.float64]) -> tuple[float, float]:
    """The clearest rise for a part of a clip, in standard deviations of chance, and in decibels where it is clearest.

    Every interval's mean level against the rest of the clip [shape=(B,)], weighed by the inverse covariance of the
    bands [shape=(B, B)] (Hotelling's T squared), so that what bands always do together counts little.
    """
    n = len(course_db)
    start, end = np.triu_indices(n + 1, STEP_STRETCHES)
    within = (end - start) <= n - STEP_STRETCHES
    start, end = start[within], end[within]
    if not len(start):
        return 0.0, 0.0
    so_far = np.concatenate([np.zeros((1, course_db.shape[1])), np.cumsum(course_db, axis=0, dtype=np.float64)])
    length = (end - start)[:, None]
    inside = so_far[end] - so_far[start]
    rise = inside / length - (so_far[-1] - inside) / (n - length)
    pull = rise @ precision
    # Without the band that says most: a tool that is dropped rings in one, what blows is heard in all.
    squares = (pull * rise).sum(axis=1) - (pull**2 / np.diag(precision)).max(axis=1)
    squares = np.where(np.median(rise, axis=1) > 0.0, squares * (length * (n - length) / n)[:, 0], 0.0)
    clearest = int(squares.argmax())
    return float(np.sqrt(max(squares[clearest], 0.0))), float(rise[clearest].max())


def _quarters(level_db: NDArray[np.float64]) -> float:
    n = max(2, len(level_db) // 4)
    ranked = np.sort(level_db)
    return float(ranked[-n:].mean() - ranked[:n].mean())


FINDERS: tuple[Callable[[Sequence[_Clip]], Blunder | None], ...] = (
    same_sound,
    swapped_labels,
    quiet_with_air,
    other_gain,
    part_of_the_time,
)
"""One row a slip."""
