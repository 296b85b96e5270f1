"""The headphone check before an ear threshold: in which of two intervals is the noise, in each of three bands?"""

from __future__ import annotations

import secrets
from functools import partial
from typing import TYPE_CHECKING, ClassVar, Literal

from textual import on
from textual.binding import Binding, BindingType

from listen.errors import AudioError
from tui.bridge.threads import in_thread
from tui.screens.lab.one_pair import OnePairScreen
from tui.widgets.banner import Say
from tui.widgets.pairs import Pairs
from tui.widgets.panels import Choice, ChoicePanel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from listen.lab.ear.threshold import TrialClips as Trial
    from listen.signal.clip import Clip

ANSWERS = (Choice("1", "1", "first"), Choice("2", "2", "second"))
BEFORE = (
    "Headphones on, volume low. Space plays the first noise: then set the volume so that it is soft but clear, and "
    "leave it there."
)


class HeadphoneScreen(OnePairScreen[Literal["passed", "failed", "left-out"]]):
    """Dismisses with how it ended; with nothing where it was left by Escape."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,enter,pagedown", "play", "Play", key_display="Space"),
        Binding("s", "leave_out", "Leave the check out"),
    ]
    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {"leave_out": ("ask",), "silence": ("ask",)}

    def __init__(self, learner: str) -> None:
        super().__init__()
        self._learner = learner
        self.phase = "ask"
        self.trials: tuple[Trial, ...] = ()
        self.right: list[bool] = []

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return ("lab", self._learner, "headphone check")

    def on_mount(self) -> None:
        """Make the noises; nothing sounds before a key is pressed."""
        super().on_mount()
        self.start(self._make, "make")

    async def _make(self) -> None:
        from listen.lab.ear.playback import headphone_check

        self.trials = await in_thread(headphone_check, secrets.randbits(32))
        self._ask()

    def _ask(self) -> None:
        number, count = len(self.right) + 1, len(self.trials)
        say = Say(
            f"headphone check · noise {number} of {count}",
            "Space plays two intervals: in which is the noise? Press 1 or 2; guess if you must.",
            BEFORE,
        )
        self.ask(say, ANSWERS, str(number), "noise")

    def action_play(self) -> None:
        """Play the pair in hand (again); once all is answered, go on."""
        if self.phase == "done":
            self.dismiss("passed" if all(self.right) else "failed")
        elif self.trials:
            self.start(self._play, "play")

    async def _play(self) -> None:
        trial = self.trials[len(self.right)]
        await self.play_pair(self.query_one(Pairs).pairs[0], partial(_clips, trial))

    def cannot_play(self, error: AudioError) -> None:
        """No noise, no check."""
        self._told = f"× {error}. Without a loudspeaker nothing can be checked; s leaves the check out."
        self._ask()

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        if self.phase != "ask" or not self.trials:
            return
        if not self.query_one(Pairs).pairs[0].heard and self.query_one(Pairs).sounding[1] < 0:
            self._told = "Press Space first: nothing was played yet."
            self._ask()
            return
        self.playback.stop()
        self.right.append(int(event.choice) == self.trials[len(self.right)].hiss_in)
        self._told = ""
        if len(self.right) == len(self.trials):
            self._done()
        else:
            self._ask()
            self.action_play()

    def _done(self) -> None:
        from listen.lab.ear.playback import check_words

        self.phase = "done"
        self.refresh_bindings()
        tone = "good" if all(self.right) else "caution"
        self.over(Say("headphone check · done", check_words(tuple(self.right)), "Space goes on.", tone=tone))
        self.set_focus(None)

    def action_back(self) -> None:
        """Leave: it is asked again the next time."""
        self.dismiss(None)

    def action_leave_out(self) -> None:
        """Go on without it."""
        self.dismiss("left-out")


def _clips(trial: Trial) -> tuple[Sequence[Clip], float]:
    """Both intervals at the low level they were made for."""
    return trial.clips, 0.0
