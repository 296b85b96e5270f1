"""What screens may ask of the application: the open job, what was made for it, and the writing of events."""

from collections.abc import Callable
from typing import Any, Protocol, TypeVar

from listen.jobs.events import Payload
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.job import Job
from tui.bridge.preferences import Preferences
from tui.bridge.services import Services
from tui.bridge.sitting import Sitting

T = TypeVar("T")


class Bay(Protocol):
    """The application as its screens know it."""

    job: Job | None
    """The job that is open, as it is now."""
    open_job: OpenJob | None
    services: Services
    preferences: Preferences
    sitting: Sitting
    """Who sits here, and what was shown and played to them."""
    headphones_checked: dict[str, bool | None]
    """Learners whose headphones were checked since the program was started."""

    def prefer(self, **changes: Any) -> None:
        """Change preferences and keep them."""

    def take(self, opened: OpenJob) -> None:
        """Make a job the open one; the one before is closed."""

    def put_away(self) -> None:
        """Close the open job, if any."""

    def sit(self, name: str, role: str) -> None:
        """Someone says who they are: it stands on what is written from now on."""

    def write(self, *events: Payload) -> None:
        """Append events to the journal; raises :class:`JobError` where it cannot be written."""

    def later(self, work: Callable[[], None]) -> None:
        """Do something with the open job after all that is on its way; nobody waits for it."""

    async def written(self, work: Callable[[], T]) -> T:
        """Do something else that writes to the open job, beside the screen, and show the job then."""

    @property
    def still_writing(self) -> bool:
        """Whether the disk has not taken yet what is shown."""

    def tell(self, text: object, *, bad: bool = False) -> None:
        """A short message in the corner."""
