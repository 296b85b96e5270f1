"""The ear's threshold: which of four clips holds the hiss? Each level is the one that tells most."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType

from listen.errors import AudioError, HisswayError
from tui.bridge.threads import in_thread
from tui.screens.lab.one_pair import OnePairScreen
from tui.widgets.banner import Say
from tui.widgets.pairs import Pairs
from tui.widgets.panels import Choice, ChoicePanel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from listen.lab.ear.threshold import ThresholdRun
    from listen.lab.learners import Learner
    from listen.signal.clip import Clip

ANSWERS = tuple(Choice(str(i), str(i), words) for i, words in enumerate(("first", "second", "third", "fourth"), 1))


class ThresholdScreen(OnePairScreen[None]):
    """Plays pairs until the threshold stands."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("space,enter,pagedown", "play", "Play again", key_display="Space")]

    def __init__(self, root: Path, learner: Learner, background: str, headphones: bool | None = None) -> None:
        super().__init__()
        self._root, self._learner, self._background = root, learner, background
        self._headphones = headphones
        self.run_: ThresholdRun | None = None

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return ("lab", self._learner.name, "ear threshold", self._background)

    def on_mount(self) -> None:
        """Make the run, play the first pair."""
        super().on_mount()
        self.start(self._begin, "run")

    async def _begin(self) -> None:
        from listen.lab.ear.threshold import ThresholdRun

        try:
            self.run_ = await in_thread(
                ThresholdRun, self._root, self._learner, self._background, headphones=self._headphones
            )
        except HisswayError as e:
            self.refuse(e)
            self.dismiss()
            return
        self._ask()
        self.action_play()

    def _ask(self) -> None:
        from listen.lab.ear.adaptive import TRIALS
        from listen.lab.ear.playback import CAUTION

        if self.run_ is None:
            return
        at = f"trial {self.run_.number} of {TRIALS}"
        say = Say(at, "Which of the four holds the hiss? Press 1 to 4; guess if you must.", CAUTION)
        self.ask(say, ANSWERS, at, self._background)

    def action_play(self) -> None:
        """Play the pair in hand (again)."""
        if self.run_ is not None and not self.run_.done:
            self.start(self._play, "play")

    async def _play(self) -> None:
        pairs = self.query_one(Pairs)
        if self.run_ is not None and pairs.pairs:
            await self.play_pair(pairs.pairs[0], partial(_trial, self.run_))

    def cannot_play(self, error: AudioError) -> None:
        """Nothing can be found without hearing."""
        self._told = f"× {error}. A threshold cannot be found without hearing; drills by picture still work."
        self._ask()

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        self.playback.stop()
        self.start(partial(self._answer, int(event.choice)), "run")

    async def _answer(self, interval: int) -> None:
        run = self.run_
        if run is None or run.done:
            return
        held = run.trial().hiss_in
        right = await in_thread(run.answer, interval)
        self._told = "✓ right" if right else f"× it was the {ANSWERS[held - 1].words}"
        if run.measured is not None:
            self._done(run)
            return
        self._ask()
        self.action_play()

    def _done(self, run: ThresholdRun) -> None:
        from listen.lab.training.instructor import threshold_words

        assert run.measured is not None
        words = threshold_words(run.measured)
        self.over(Say("done", f"Your threshold: {words}.", "Esc goes back to the lab.", tone="good"))


def _trial(run: ThresholdRun) -> tuple[Sequence[Clip], float]:
    from listen.lab.ear.playback import comfortable_gain_db

    clips = run.trial().clips
    return clips, comfortable_gain_db(*clips)
