"""Labels that were swapped, by where a clip belongs: the room's sound low down is the place's, and escaping air only
adds to it.

Symbols: n clips of one walk and their n places, B place bands; d level of a clip about that of a place, dB. Each band
of a clip that belongs there is as its place but for drift (heavy tails, one level shift for the whole clip), or lifted
by air. What argues against a label are bands with less than the place has: nothing takes sound away.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.rounds.slips.slip import STILL, Blunder, RoundClip
from listen.signal.flags import Flag
from listen.trade.points import Kind, point

SWAP_DB = 6.0
"""Evidence for other labels in a walk, decibans, from which a round is doubted. One round in 40 has such a slip (the
wrong one of like things taken by its label: 0.003 an act, Swain and Guttmann, NUREG/CR-1278, 1983; a round has eight
clips and more), and a repeat pays from one in eleven on, as where a path is named: odds of 1:39 have to become 1:10.
Of 959 clean rounds (recorded shops made without the simulator, worlds, worlds in recorded shops) 0.7 % reach it."""
CALM_DB = 10.0
"""Evidence against clips of the points not accused, on average, up to which a shop is calm: 95 of 100 rounds in steady
shops lie below (420 made without the simulator, 160 of the worlds). Of 160 rounds with compressors, doors and traffic
made by a stranger, no label wrong, 12 are doubted with it and 26 without; of 200 of another's 6 and 9; of exchanged
pairs in calm shops 1 to 4 in 100 more are missed, in restless ones 14 to 20."""
LEAST_SPREAD_DB = 0.5
"""Standard deviation of a place band between clips of one place, beside what the round's own repeats show."""
USUAL_SPREAD_DB = 0.7
"""What repeats show where a round has none: bench of the worlds."""
SHIFT_DB = 1.0
"""Level of one clip about its walk's: drift of a shop is 0.1-1 dB (METHOD section 2), more where repeats show it; with
heavy tails, since wind and traffic come and go between two clips."""
SHIFTS_DB = np.arange(-10.0, 10.01, 0.5)
LIFTED, LIFT_DB = 0.5, 6.0
"""Share of place bands that air lifts, and the mean of how much (exponential): ring packs reach down there."""
OWN_STEPS = np.linspace(-3.0, 3.0, 13)
"""Amounts of a change that the shop makes by itself, about what it made elsewhere in the round; heavy tails. Of 200
rounds in restless shops drawn by a stranger 10 are doubted with it, 19 without; of 730 others 7 and 11; of exchanged
pairs 2 to 5 in 100 more are missed (by the best order of all labels; by pairs 9 of the 200 are doubted)."""
BANDS_AS_ONE = 0.5
"""Neighbouring place bands move together: nine count as four or five."""


def swapped_labels(clips: Sequence[RoundClip]) -> Blunder | None:
    """Clips of one walk that fit each other's points by the room's sound better than their own."""
    spread_db, level_db = _repeat_spread_db(clips)
    found: list[tuple[float, Kind, list[RoundClip]]] = []
    for kind, number in dict.fromkeys((c.mark.kind, c.number) for c in clips):
        layer = [c for c in clips if c.mark.kind is kind and c.number == number]
        rest = [[d for d in clips if d.at == c.at and d is not c and d.mark.kind in STILL] for c in layer]
        pairs = [(c, others) for c, others in zip(layer, rest, strict=True) if others]
        # Two clips at least: a swap needs two labels.
        if len(pairs) < 2:
            continue
        clips_db = np.array([c.mark.place_db for c, _ in pairs], dtype=np.float64)
        places_db = np.array(
            [np.mean([d.mark.place_db for d in others], axis=0) for _, others in pairs], dtype=np.float64
        )
        repeats = min(len(others) for _, others in pairs)
        spreads_db, air = (spread_db, level_db), kind not in STILL
        moved, gain_db = best_exchange(clips_db, places_db, repeats, spreads_db, air=air)
        if gain_db >= SWAP_DB:
            # A train that passes every other clip makes two places look exchanged: had it passed elsewhere too?
            own = _own_change(clips, {pairs[i][0].at for i in moved}, places_db[moved])
            moved, gain_db = best_exchange(clips_db, places_db, repeats, spreads_db, air=air, own=own)
        found.append((gain_db, kind, [pairs[i][0] for i in moved]))
    gain_db, kind, exchanged = max(found, default=(0.0, Kind.AIR, []), key=lambda one: one[0])
    if gain_db < SWAP_DB:
        return None
    accused = {c.at for c in exchanged}
    unrest_db = _unrest_db([c for c in clips if c.at not in accused], (spread_db, level_db))
    # A compressor that comes and goes moves the clips of two points as an exchange does: both have to stand out.
    limit_db = SWAP_DB + (2.0 * unrest_db if unrest_db > CALM_DB else 0.0)
    if gain_db < limit_db:
        return None
    if kind in STILL:
        exchanged = _denied_by_air(exchanged, clips, (spread_db, level_db))
    where = f"{exchanged[0].kind_words} clips of {' and '.join(point(c.at).words for c in exchanged)}"
    text = (
        f"By the room's sound at 60-900 Hz the {where} belong to each other's points (evidence "
        f"{gain_db:.0f} dB, limit {limit_db:.0f} dB): the labels look swapped; record both again."
    )
    flag = Flag(flag="swapped-labels", value=gain_db, limit=limit_db, text=text, reject=True)
    return Blunder.of(flag, *exchanged)


def _repeat_spread_db(clips: Sequence[RoundClip]) -> tuple[float, float]:
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


def _unrest_db(clips: Sequence[RoundClip], spreads_db: tuple[float, float]) -> float:
    """How badly clips fit the places they are labelled with, on average: evidence against them, decibans."""
    against = []
    for c in clips:
        rest = [d.mark.place_db for d in clips if d.at == c.at and d is not c and d.mark.kind in STILL]
        if rest:
            d = np.asarray(c.mark.place_db, dtype=np.float64) - np.mean(np.array(rest, dtype=np.float64), axis=0)
            # The same clip twice, as it is and as if it fitted perfectly: what lies between speaks against it.
            clip_or_none = np.array([[d], [np.zeros_like(d)]])
            fits = _fits(clip_or_none, spreads_db, len(rest), c.mark.kind not in STILL, None)[:, 0]
            against.append(max(0.0, float(fits[1] - fits[0])))
    return float(10.0 / np.log(10.0) * np.mean(against)) if against else 0.0


def best_exchange(
    clips_db: NDArray[np.float64],
    places_db: NDArray[np.float64],
    repeats: int,
    spreads_db: tuple[float, float],
    *,
    air: bool,
    own: NDArray[np.float64] | None = None,
) -> tuple[list[int], float]:
    """Which two clips fit each other's places best, and how much better than their own: evidence in decibans.

    Only pairs are weighed: a walk one label late moves pairs, too, and a jumble of many is what a shop that changed
    between two walks looks like.

    Parameters
    ----------
    clips_db, places_db
        Place bands of the clips, and those of the places they are labelled with [shape=(n, B)].
    repeats
        Clips behind each place.
    spreads_db
        How much clips of one place differ in this round, band by band, and how much in level.
    air
        Whether air may have lifted them.
    own
        Change of the bands that the shop makes by itself [shape=(B,)], dB.
    """
    from scipy.special import logsumexp  # only for a round as a whole

    d = clips_db[:, None] - places_db[None]
    # The walk's own shift: where air may lift bands, those it lifts least tell it.
    level = np.quantile(np.diagonal(d).T, 0.3 if air else 0.5, axis=1)
    fits = _fits(d - np.median(level), spreads_db, repeats, air, own)
    fits = fits - np.diagonal(fits)[:, None]
    gains = fits + fits.T
    one, other = np.triu_indices(len(fits), 1)
    best = int(gains[one, other].argmax())
    # Of many pairs one fits by chance: each is as likely, and the mean over all is what the best one is worth.
    evidence = logsumexp(gains[one, other]) - np.log(len(one))
    return [int(one[best]), int(other[best])], float(10.0 / np.log(10.0) * evidence)


def _denied_by_air(
    exchanged: list[RoundClip], clips: Sequence[RoundClip], spreads_db: tuple[float, float]
) -> list[RoundClip]:
    """Of the quiet walks the one that no clip with air agrees with: two that differ accuse each other alike.

    Of 392 pairs of quiet clips exchanged in one walk or the other the right walk is told in 388, without this in 223.
    """
    first, other = ([c for c in clips if c.at == e.at] for e in exchanged)
    both = [[a, b] for a in first for b in other if (a.mark.kind, a.number) == (b.mark.kind, b.number)]
    airs = [
        np.array([c.mark.place_db for c in pair], dtype=np.float64) for pair in both if pair[0].mark.kind not in STILL
    ]

    def denied(walk: list[RoundClip]) -> float:
        places = np.array([c.mark.place_db for c in walk], dtype=np.float64)
        return sum(best_exchange(air, places, 1, spreads_db, air=True)[1] for air in airs)

    return max((pair for pair in both if pair[0].mark.kind in STILL), key=denied)


def _own_change(
    clips: Sequence[RoundClip], accused: set[str], places_db: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """How far points but the ``accused`` moved from clip to clip, along what sets the accused apart [shape=(B,)]."""
    shapes = places_db - places_db.mean(axis=1, keepdims=True)
    # The first direction: along it the accused differ, and only along it can the shop look like an exchange.
    apart = np.linalg.svd(shapes - shapes.mean(axis=0), full_matrices=False)[2][0]
    moved = []
    # In walking order: a set's order changes from run to run, and with it the last digit of a sum.
    for at in dict.fromkeys(c.at for c in clips if c.at not in accused):
        here = np.array([c.mark.place_db for c in clips if c.at == at and c.mark.kind in STILL], dtype=np.float64)
        others = np.array([c.mark.place_db for c in clips if c.at == at and c.mark.kind not in STILL])
        if len(here) > 1:
            # The difference of two clips scatters by the root of two more than one clip.
            moved.append(float(np.ptp((here - here.mean(axis=1, keepdims=True)) @ apart)) / np.sqrt(2.0))
        if len(here):
            d = others.reshape(-1, len(apart)) - here.mean(axis=0)
            moved += list((d - d.mean(axis=1, keepdims=True)) @ apart / np.sqrt(1.0 + 1.0 / len(here)))
    return np.asarray(apart * np.sqrt(np.mean(np.square(moved)))) if moved else None


def _fits(
    d: NDArray[np.float64],
    spreads_db: tuple[float, float],
    repeats: int,
    air: bool,
    own: NDArray[np.float64] | None,
) -> NDArray[np.float64]:
    """Log likelihood of each clip at each place, level shift and the shop's own change summed over [shape=(n, n)]."""
    from scipy.special import logsumexp, ndtr

    spread = np.hypot(LEAST_SPREAD_DB, spreads_db[0]) * np.sqrt(1.0 + 1.0 / repeats)
    shift_db = np.hypot(SHIFT_DB, spreads_db[1])
    steps = np.zeros(1) if own is None else OWN_STEPS
    change = np.multiply.outer(steps, np.zeros(d.shape[-1]) if own is None else own)
    x = d[..., None, None, :] - change[:, None] - SHIFTS_DB[:, None]
    density = 0.375 * (1.0 + 0.25 * (x / spread) ** 2) ** -2.5 / spread  # Student's t, 4 degrees of freedom
    if air:
        lifted = np.exp(-np.maximum(x, 0.0) / LIFT_DB) / LIFT_DB * ndtr(x / spread)
        density = (1.0 - LIFTED) * density + LIFTED * lifted
    by_step = -2.5 * np.log1p(0.25 * steps**2)
    likely = (by_step - logsumexp(by_step))[:, None] - 2.5 * np.log1p(0.25 * (SHIFTS_DB / shift_db) ** 2)
    return np.asarray(logsumexp(BANDS_AS_ONE * np.log(density).sum(axis=-1) + likely, axis=(-2, -1)))
