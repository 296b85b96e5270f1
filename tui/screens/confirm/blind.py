"""Hearing a round blind: pairs in an order that tells nothing, each at one level."""

from __future__ import annotations

import random
import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType

from listen.trade.points import point
from tui.bridge.playback import prepared
from tui.screens.hearing import HearingScreen
from tui.widgets.pairs import Pair, Pairs

if TYPE_CHECKING:
    from listen.jobs.job import RoundRecord
    from listen.signal.clip import Clip


class BlindScreen(HearingScreen[None]):
    """Plays the pairs of a round of the open job."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("m", "match", "Levels")]

    def __init__(self, round_id: str) -> None:
        super().__init__()
        self.round_id = round_id
        self.seed = secrets.token_hex(4)
        """Of the order in which pairs and clips stand."""
        self._matched = True

    @property
    def record(self) -> RoundRecord:
        """The round."""
        assert self.bay.job is not None
        return self.bay.job.round(self.round_id)

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self.bay.job.title, f"cylinder {self.record.cylinder}", "confirm") if self.bay.job else ()

    @on(Pairs.Play)
    def _play_pair(self, event: Pairs.Play) -> None:
        self.start(partial(self.play_pair, event.pair, self._load(event.pair)), "play")

    def _load(self, pair: Pair) -> Callable[[], tuple[Sequence[Clip], float]]:
        """Quiet and air at a point in an order that is not told."""
        opened = self.bay.open_job
        assert opened is not None
        return partial(prepared, [opened.clip_path(c) for c in self.order(pair.id)], matched=self._matched)

    def order(self, at: str) -> tuple[str, ...]:
        """Clips of the pair at a point in the order they are played."""
        clips = [self.record.live_clips(at, walk)[-1].id for walk in ("quiet", "air")]
        return tuple(reversed(clips) if swapped(self.record, self.seed, at) else clips)

    def was_heard(self, pair: Pair) -> None:
        """It counts for whoever sits here."""
        if self.bay.job is not None:
            self.bay.sitting.played(self.bay.job.id, self.round_id, pair.id, self.order(pair.id))

    def reveal(self) -> None:
        """After the call: which of each two sounds had the air."""
        pairs = self.query_one(Pairs)
        told = ("air off", "air on")
        pairs.pairs = tuple(
            replace(p, clips=told[::-1] if swapped(self.record, self.seed, p.id) else told) for p in pairs.pairs
        )

    def action_match(self) -> None:
        """Matched or own levels."""
        self._matched = not self._matched
        self.tell("Pairs are played at one level." if self._matched else "Pairs are played at their own levels.")


def blind_pairs(record: RoundRecord, seed: str) -> tuple[Pair, ...]:
    """Pairs in an order that tells nothing, the same each time this round is opened."""
    have = [
        p
        for p in dict.fromkeys(c.kept.point for c in record.live_clips())
        if record.live_clips(p, "quiet") and record.live_clips(p, "air")
    ]
    dice = random.Random(f"{seed} {record.id}")  # noqa: S311 - an order for the ear, no secret
    dice.shuffle(have)
    return tuple(Pair(p, point(p).words) for p in have)


def swapped(record: RoundRecord, seed: str, at: str) -> bool:
    """Whether air comes first in the pair at this point."""
    return random.Random(f"{seed} {record.id} {at}").random() < 0.5  # noqa: S311 - as above
