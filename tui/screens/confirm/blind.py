"""Hearing a round blind: pairs in an order that tells nothing, each at one level."""

from __future__ import annotations

import random
import secrets
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from textual import on
from textual.binding import Binding

from listen.jobs.hearing import pair_at
from listen.trade.points import point
from tui.bridge.playback import levelled
from tui.screens.hearing import HearingScreen
from tui.widgets.pairs import Pair, Pairs

if TYPE_CHECKING:
    from pathlib import Path

    from listen.jobs.events import ClipKept
    from listen.jobs.job import RoundRecord
    from listen.signal.clip import Clip

    Heard = tuple[list[Clip], float]
    """Clips in the order they are played, and their gain."""


class BlindScreen(HearingScreen[None]):
    """Plays the pairs of a round of the open job."""

    HERE = "confirm"
    BINDINGS = [Binding("m", "match", "Levels")]

    def __init__(self, round_id: str) -> None:
        super().__init__(round_id)
        self.seed = secrets.token_hex(4)
        """Of the order in which pairs and clips stand."""
        self._matched = True

    @on(Pairs.Play)
    def _play_pair(self, event: Pairs.Play) -> None:
        self.start(partial(self.play_pair, event.pair, self._load(event.pair)), "play")

    def _load(self, pair: Pair) -> Callable[[], Heard]:
        kept = [(c.kept, self.opened.clip_path(c.id)) for c in pair_at(self.record, pair.id)]
        return partial(_load, kept, self._matched, swapped(self.record, self.seed, pair.id))

    def was_heard(self, pair: Pair) -> None:
        """It counts for whoever sits here."""
        clips = [c.id for c in pair_at(self.record, pair.id)]
        order = reversed(clips) if swapped(self.record, self.seed, pair.id) else clips
        self.bay.sitting.played(self.job.id, self.round_id, pair.id, tuple(order))

    def reveal(self) -> None:
        """After the call: which of each two sounds had the air."""
        pairs = self.query_one(Pairs)
        names = ("air off", "air on")
        pairs.pairs = tuple(
            replace(p, clips=names[::-1] if swapped(self.record, self.seed, p.id) else names) for p in pairs.pairs
        )

    def action_match(self) -> None:
        self._matched = not self._matched
        self.tell("Pairs are played at one level." if self._matched else "Pairs are played at their own levels.")


def blind_pairs(record: RoundRecord, seed: str) -> tuple[Pair, ...]:
    """Pairs in an order that tells nothing, the same each time this round is opened."""
    have = [p for p in dict.fromkeys(c.kept.point for c in record.live_clips()) if pair_at(record, p)]
    dice = random.Random(f"{seed} {record.id}")  # noqa: S311 - an order for the ear, no secret
    dice.shuffle(have)
    return tuple(Pair(p, point(p).words) for p in have)


def _load(kept: list[tuple[ClipKept, Path]], matched: bool, swap: bool) -> Heard:
    from listen.rounds.switching import pair

    clips = [*pair([path for _, path in kept], kept[0][0].on_s)]
    return levelled(clips[::-1] if swap else clips, matched=matched)


def swapped(record: RoundRecord, seed: str, at: str) -> bool:
    """Whether air comes first in the pair at this point."""
    return random.Random(f"{seed} {record.id} {at}").random() < 0.5  # noqa: S311 - as above
