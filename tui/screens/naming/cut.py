"""One long recording cut into pieces at marks: one sets a mark wherever the microphone went to the next point."""

import time
from functools import partial

from textual.binding import Binding

from listen.jobs.bring_in import Recording, cut, loudness, stretch
from listen.voice.figures import counted
from listen.voice.text import plain
from tui.bridge.playback import levelled
from tui.bridge.threads import in_thread
from tui.screens.hearing import PlayingScreen
from tui.widgets.banner import Banner, Say
from tui.widgets.level_meter import LevelStrip

STEPS = 400
"""Of the drawing; more than a screen has columns."""
PLAYED_S = 20.0
"""Sound loaded for one press of Space."""
TICK_S = 0.1
HOW = (
    "Set a mark wherever the microphone went on to the next point. Space plays from where you are, and m marks there; "
    "Enter makes the pieces, which are then named."
)
DROPPED = "! Enter makes the pieces, Esc again drops the marks."


class CutScreen(PlayingScreen[tuple[Recording, ...]]):
    """Dismisses with the pieces, or None."""

    BODY = (Banner, LevelStrip)
    BINDINGS = [
        Binding("space", "play", "Play or stop"),
        Binding("m", "mark", "Mark"),
        Binding("left", "move(-1)", "1 s", key_display="← →"),
        Binding("right", "move(1)", "1 s", show=False),
        Binding("up", "move(-10)", "10 s", key_display="↑ ↓"),
        Binding("down", "move(10)", "10 s", show=False),
        Binding("backspace", "unmark", "Last mark away"),
        Binding("enter", "take", "Make the pieces"),
    ]

    def __init__(self, recording: Recording) -> None:
        super().__init__()
        self.recording = recording
        self._playing = False
        self._from: tuple[float, float] | None = None
        """Where what sounds begins in the recording, and when it began."""
        self._dropped: tuple[float, ...] = ()
        """Marks that Esc asked about, and drops."""

    def way(self) -> tuple[str, ...]:
        return ("name recordings", plain(self.recording.path.name, 40), "cut")

    def on_mount(self) -> None:
        self.query_one(LevelStrip).seconds = self.recording.seconds
        self._count()
        self.set_interval(TICK_S, self._go_along)
        self.start(self._read, "read")

    async def _read(self) -> None:
        self.query_one(LevelStrip).levels = await in_thread(loudness, self.recording, STEPS)

    def _count(self, outcome: str = "") -> None:
        strip = self.query_one(LevelStrip)
        pieces = cut(self.recording, strip.marks)
        made = f"{counted(len(strip.marks), 'mark')}, {counted(len(pieces), 'piece')}"
        state, tone = made if strip.marks else "No marks yet.", "again" if outcome else "plain"
        self.query_one(Banner).say = Say(HOW, state, "", outcome, tone)

    def action_move(self, by: int) -> None:
        self._stop()
        strip = self.query_one(LevelStrip)
        strip.cursor = min(max(strip.cursor + by, 0.0), strip.seconds)

    def action_mark(self) -> None:
        """A mark where one is, or where it sounds."""
        strip = self.query_one(LevelStrip)
        strip.marks = tuple(sorted({*strip.marks, round(strip.cursor, 1)}))
        self._count()

    def action_unmark(self) -> None:
        """The last mark before the cursor goes, else the first."""
        strip = self.query_one(LevelStrip)
        if strip.marks:
            before = [m for m in strip.marks if m <= strip.cursor] or [strip.marks[0]]
            strip.marks = tuple(m for m in strip.marks if m != before[-1])
            self._count()

    def action_back(self) -> None:
        """Marks are dropped only by a second key."""
        marks = self.query_one(LevelStrip).marks
        if marks in ((), self._dropped):
            super().action_back()
        else:
            self._dropped = marks
            self._count(DROPPED)

    def action_take(self) -> None:
        self.dismiss(cut(self.recording, self.query_one(LevelStrip).marks))

    def action_play(self) -> None:
        """Play from the cursor on, which goes along; or be silent."""
        if self._playing:
            self._stop()
            return
        self._playing, start_s = True, self.query_one(LevelStrip).cursor

        def sounds(i: int) -> None:
            self._from, self._playing = (start_s, time.monotonic()) if i >= 0 else None, i >= 0

        self.start(partial(self.sound, lambda: levelled([stretch(self.recording, start_s, PLAYED_S)]), sounds), "play")

    def _stop(self) -> None:
        self._playing, self._from = False, None
        self.silence()

    def _go_along(self) -> None:
        if self._from is not None:
            strip, (start_s, began) = self.query_one(LevelStrip), self._from
            strip.cursor = min(start_s + time.monotonic() - began, strip.seconds)
