"""Hearing a round blind: pairs in an order that tells nothing, each at one level."""

import random
from pathlib import Path

from listen.jobs.events import ClipKept
from listen.jobs.hearing import pair_at
from listen.jobs.job import RoundRecord
from listen.rounds.switching import pair
from listen.signal.clip import Clip
from listen.trade.points import point
from tui.bridge.playback import levelled
from tui.widgets.pairs import Pair


def blind_pairs(record: RoundRecord, seed: str) -> tuple[Pair, ...]:
    """Pairs in an order that tells nothing, the same each time this round is opened."""
    # In the order recorded before it is shuffled: the same seed gives the same order on any machine.
    have = [p for p in dict.fromkeys(c.kept.point for c in record.live_clips()) if pair_at(record, p)]
    dice = random.Random(f"{seed} {record.id}")  # noqa: S311 - an order for the ear, no secret
    dice.shuffle(have)
    return tuple(Pair(p, point(p).words) for p in have)


def load_pair(kept: list[tuple[ClipKept, Path]], matched: bool, swap: bool) -> tuple[list[Clip], float]:
    """A pair in the order it is played."""
    clips = [*pair([path for _, path in kept], kept[0][0].on_s)]
    return levelled(clips[::-1] if swap else clips, matched=matched)


def swapped(record: RoundRecord, seed: str, at: str) -> bool:
    """Whether air comes first in the pair at this point."""
    return random.Random(f"{seed} {record.id} {at}").random() < 0.5  # noqa: S311 - as above
