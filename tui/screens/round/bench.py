"""What the workers of a round may ask of the screen they work for."""

from collections.abc import Callable, Coroutine
from typing import Any, Protocol

from listen.jobs.events import Payload
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.job import RoundRecord
from listen.jobs.walk import Step
from tui.bridge.bay import Bay
from tui.bridge.listener import Listener
from tui.screens.round.now import Now
from tui.widgets.countdown import Count


class Bench(Protocol):
    """One round, whoever shows it."""

    round_id: str
    listener: Listener

    @property
    def now(self) -> Now: ...

    @property
    def opened(self) -> OpenJob: ...

    @property
    def bay(self) -> Bay: ...

    @property
    def record(self) -> RoundRecord: ...

    def step(self) -> Step:
        """What is under way, chosen or due."""

    def change(self, **changes: Any) -> None:
        """Replace fields of :class:`Now`."""

    def show_changed_job(self) -> None:
        """The job was changed in another thread: show it as it is."""

    def write(self, *events: Payload) -> bool:
        """Put events into the journal; what the disk refuses is said, and nothing has changed."""

    def way_chosen(self, way: str) -> None:
        """How rounds are taken from now on."""

    def points(self) -> tuple[str, ...]:
        """Points of the round, in walking order."""

    def due_takes(self) -> tuple[Step, ...]:
        """Switched takes that are due."""

    def start_beside(self, work: Callable[[], Coroutine[Any, Any, None]]) -> None:
        """Run something beside the screen."""

    def count(self, count: Count | None) -> None:
        """Show a countdown, or none."""

    def take(self, step: Step, *, sure: bool = False) -> None:
        """Take a clip; at a signed round only once the reason was given (``sure``)."""

    def wrong(self, text: str) -> None:
        """Say what is wrong with what was typed."""

    def ask_several(self, keep: Callable[[tuple[str, ...]], None]) -> None:
        """Ask which paths are heard; ``keep`` is given them."""
