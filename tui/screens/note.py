"""A note in free words, on the job, a cylinder, a round or a clip: asked for and written the same from every screen."""

from typing import Any

from listen.jobs.events import ClipKept, NoteAdded
from listen.voice.names import walked_clip
from tui.screens.base import BayScreen
from tui.screens.one_line import OneLineScreen


def write_note(
    screen: BayScreen[Any], about: str, cylinder: int | None, round_id: str | None, clip: ClipKept | None = None
) -> None:
    """Ask for a note and keep it; where a clip is given it is about that clip."""
    title = f"Note on {about}" if clip is None else f"Note on the clip: {walked_clip(clip.point, clip.walk)}"

    def keep(text: str) -> None:
        screen.bay.write(NoteAdded(text=text, cylinder=cylinder, round_id=round_id, clip=clip.clip if clip else None))
        screen.tell("The note is kept; it stands on the page of the cylinder (o) or of the job (j).")

    screen.ask(OneLineScreen(title), keep)
