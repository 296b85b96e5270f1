"""Two points under each other's labels in every clip of a round: known by how the job's other rounds heard each place.

Within the round nothing shows it. The room's sound at 60-900 Hz belongs to the place and stays, within some decibels,
from cylinder to cylinder; what the whole shop does to all points alike is taken off.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.judge.result import EngineSay, PlaceHeard
from listen.rounds.slips.labels import SWAP_DB, best_exchange
from listen.rounds.slips.slip import STILL, Blunder
from listen.signal.flags import Flag
from listen.signal.point import PointTakes
from listen.trade.points import point

ROUNDS_SPREAD_DB = 1.0
ROUNDS_LEVEL_DB = 1.5
"""How much one place differs between rounds, band by band and in level: another machine runs, the microphone lies a
hand's breadth off. Judgement, wider than the worlds' 0.1-0.8 and 0.1-0.7 dB."""


def places_heard(points: Sequence[PointTakes]) -> tuple[PlaceHeard, ...]:
    """The room's sound at each point, air off: what a round tells the job's others of its places."""
    found = ((p.point, [m.place_db for m in p.prints if m.kind in STILL]) for p in points)
    return tuple(
        PlaceHeard(point=at, band_db=tuple(round(float(db), 1) for db in np.mean(heard, axis=0)))
        for at, heard in found
        if heard
    )


def exchanged_points(points: Sequence[PointTakes], said: Sequence[EngineSay]) -> Blunder | None:
    """Two points that sound like each other in the job's other rounds, ``said``; a few cylinders are enough."""
    here = {p.point: np.array(p.band_db) for p in places_heard(points)}
    rounds = [about_here for one in said if (about_here := _about(here, one))]
    known = [at for at in here if any(at in r for r in rounds)]
    # An exchange needs two places that are known.
    if len(known) < 2:
        return None
    there = [[r[at] for r in rounds if at in r] for at in known]
    moved, gain_db = best_exchange(
        np.array([here[at] for at in known]),
        np.array([np.median(heard, axis=0) for heard in there]),  # one that was exchanged itself does not count
        min(map(len, there)),
        (ROUNDS_SPREAD_DB, ROUNDS_LEVEL_DB),
        air=False,
    )
    if gain_db < SWAP_DB:
        return None
    at = tuple(known[i] for i in moved)
    text = (
        f"In every clip the {' and the '.join(point(p).words for p in at)} sound like each other's points in the job's "
        f"other rounds (room's sound at 60-900 Hz, evidence {gain_db:.0f} dB, limit {SWAP_DB:.0f} dB): the points "
        "look exchanged, here or there; find out which, and record them again."
    )
    return Blunder(Flag(flag="exchanged-points", value=gain_db, limit=SWAP_DB, text=text, reject=True), at)


def _about(here: dict[str, NDArray[np.float64]], one: EngineSay) -> dict[str, NDArray[np.float64]]:
    """Another round's places, less what the shop was louder then at all of them."""
    heard = {p.point: np.array(p.band_db) for p in one.places if len(p.band_db) == len(here.get(p.point, ()))}
    # The median over points: one that was exchanged, or stood elsewhere, does not move the shop.
    louder = np.median([np.mean(db - here[at]) for at, db in heard.items()]) if heard else 0.0
    return {at: db - louder for at, db in heard.items()}
