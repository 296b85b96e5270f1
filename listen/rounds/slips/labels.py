"""Labels of clips of one walk that were swapped."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.rounds.slips.places import SHIFT_DB, USUAL_SPREAD_DB, best_exchange
from listen.rounds.slips.slip import STILL, Blunder, RoundClip
from listen.signal.flags import Flag
from listen.trade.points import Kind, point

SWAP_DB = 11.0
"""Evidence for other labels, decibans (2.5 nats) for two exchanged, in proportion for more. Of 880 clean rounds (three
sets of recorded shops made without the simulator, worlds, worlds in recorded shops) 1.1 % reach it, of exchanged pairs
90-95 % where points sound apart and 10-30 % where they sound alike; at 8.7, as before, 1.9 % and 92-97 %."""


def swapped_labels(clips: Sequence[RoundClip]) -> Blunder | None:
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
            np.array([place_db(others) for _, others in pairs]),
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


def place_db(clips: Sequence[RoundClip]) -> NDArray[np.float64]:
    """Place bands of the quiet clips, else of all."""
    quiet = [c for c in clips if c.mark.kind in STILL] or list(clips)
    return np.asarray(np.mean([c.mark.place_db for c in quiet], axis=0), dtype=np.float64)
