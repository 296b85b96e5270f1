"""What the workers of a round may ask of the screen they work for."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from listen.jobs.events import Payload
    from listen.jobs.job import RoundRecord
    from listen.jobs.walk import Step
    from tui.bridge.bay import Bay
    from tui.bridge.listener import Listener
    from tui.screens.round.course import Outcome
    from tui.widgets.countdown import Count


class Host(Protocol):
    """One round on a screen."""

    round_id: str
    listener: Listener

    @property
    def bay(self) -> Bay: ...

    @property
    def record(self) -> RoundRecord: ...

    def step(self) -> Step:
        """What is due."""

    def write(self, *events: Payload) -> bool:
        """Put events into the journal; what the disk refuses is said."""

    def tell(self, text: object, *, bad: bool = False) -> None:
        """A short message in the corner."""

    def refresh_round(self) -> None:
        """Show again."""

    def show_count(self, count: Count | None) -> None:
        """Show the countdown of what is under way."""

    def begin(self, step: Step) -> None:
        """A clip begins."""

    def finished(self, outcome: Outcome) -> None:
        """A clip has come to its end, one way or another."""

    def wrong(self, text: str) -> None:
        """Say what is wrong with a figure typed."""

    def ask_several(self, keep: Callable[[tuple[str, ...]], None]) -> None:
        """Ask which paths are heard; ``keep`` is given them."""
