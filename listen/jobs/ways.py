"""Ways in which a round's clips may be taken: what each asks for, and the order it gives to the steps."""

from typing import Literal

import msgspec

from listen.trade.cautions import Step as CautionStep
from listen.trade.tables import by_id


class Way(msgspec.Struct, frozen=True):
    id: str
    words: str
    suits: str
    """Whom it suits, in one sentence."""
    walks: tuple[str, ...]
    """Walks whose clips it takes, in order."""
    by_point: bool = False
    """All clips of a point before the next point; the call by ear comes after them."""
    by_key: Literal["clip", "point", "walk", "all"] = "clip"
    """What one key records: a clip, those of a point, those of a walk, or all points at once by a microphone each."""

    def by_key_at(self, walk: str, air_s: float, move_s: float) -> str:
        """What one key records in this walk, which may be another way's.

        Without a time for the air a point is not led, without one to the next point a walk is not.
        """
        by_key = self.by_key if walk in self.walks else "clip"
        return "clip" if not {"point": air_s, "walk": move_s}.get(by_key, 1.0) else by_key


WAYS: dict[str, Way] = by_id("ways", "way", Way)()
USUAL = "walks"
SWITCHED = "switched"
"""Walk of the switched takes: one at a point stands for its quiet, air and closing clips."""
CAUTIONS: dict[str, CautionStep] = {SWITCHED: "switching"}
"""Cautions that are read and acknowledged, once a round, before the first clip of a walk."""


def way_of(id: str) -> Way:
    """A job's way; the usual one where it was never asked."""
    return WAYS.get(id) or WAYS[USUAL]
