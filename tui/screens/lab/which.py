"""Screens that ask again and again which of several clips held a sound: headphone check and threshold of the ear."""

import secrets
from dataclasses import replace
from pathlib import Path
from typing import ClassVar, Literal, TypeVar

from textual import on
from textual.binding import Binding

from listen.errors import AudioError
from listen.lab.ear.adaptive import TRIALS
from listen.lab.ear.playback import CAUTION, check_words, comfortable_gain_db, headphone_check
from listen.lab.ear.threshold import ThresholdRun
from listen.lab.ear.threshold import TrialClips as Trial
from listen.lab.learners import Learner
from listen.lab.training.instructor import threshold_words
from tui.bridge.threads import in_thread
from tui.screens.base import in_background
from tui.screens.hearing import HearingScreen
from tui.widgets.banner import Banner, Say
from tui.widgets.pairs import Pair, Pairs
from tui.widgets.panels import Choice, ChoicePanel

R = TypeVar("R")
ORDINALS = ("first", "second", "third", "fourth")
BEFORE = (
    "Headphones on, volume low. Space plays the first noise: then set the volume so that it is soft but clear, and "
    "leave it there."
)


class WhichScreen(HearingScreen[R]):
    """One trial at a time, its answers, and a word about the last one; subclasses make trials and take answers."""

    AT_THE_BAY = False
    BODY = (Banner, ChoicePanel, Pairs)
    PAIRS = ("", "ask")
    INTERVALS: ClassVar[int]
    """Clips of a trial, an answer each."""
    MUTE: ClassVar[str]
    """What it means that nothing can be played."""
    AS_MADE: ClassVar[bool] = False
    """Played at the low level it was made for; else as loud as a quiet talk."""
    _last_word = ""
    """A word about the last answer."""

    def on_mount(self) -> None:
        """The answers have the keys; trials are made away from the screen."""
        self.query_one(Pairs).can_focus = False
        self.start(self.make, "make")

    async def make(self) -> None:
        raise NotImplementedError

    def question(self) -> tuple[Say, str, str]:
        """What is asked, what stands over the answers, and what sounds."""
        raise NotImplementedError

    def trial(self) -> Trial | None:
        raise NotImplementedError

    def put_up_trial(self) -> None:
        """Put the trial in hand up, not heard yet."""
        say, at, pair = self.question()
        answers = tuple(Choice(str(i), str(i), word) for i, word in enumerate(ORDINALS[: self.INTERVALS], 1))
        self.put_up(replace(say, outcome=self._last_word), answers, at)
        self.query_one(Pairs).pairs = (Pair("pair", pair, tuple(a.words for a in answers)),)

    def over(self, say: Say) -> None:
        self.query_one(Banner).say = say
        self.query_one(ChoicePanel).display = self.query_one(Pairs).display = False

    @in_background("play")
    async def action_play(self) -> None:
        pairs = self.query_one(Pairs).pairs
        trial = await in_thread(self.trial)
        if trial is not None and pairs:
            gain_db = 0.0 if self.AS_MADE else comfortable_gain_db(*trial.clips)
            await self.play_pair(pairs[0], lambda: (trial.clips, gain_db))

    def cannot_play(self, error: AudioError) -> None:
        self._last_word = f"× {error}. {self.MUTE}"
        self.put_up_trial()


class HeadphoneScreen(WhichScreen[Literal["passed", "failed", "left-out"]]):
    """In which of two intervals is the noise, in each of three bands? Dismisses with how it ended; None: left."""

    INTERVALS, AS_MADE = 2, True
    MUTE = "Without a loudspeaker nothing can be checked; s leaves the check out."
    BINDINGS = [Binding("s", "leave_out", "Leave the check out")]
    PHASE_KEYS: ClassVar[dict[str, tuple[str, ...]]] = {"leave_out": ("ask",), "silence": ("ask",)}

    def __init__(self, learner: str) -> None:
        super().__init__()
        self._learner = learner
        self.phase = "ask"
        self.trials: tuple[Trial, ...] = ()
        self.right: list[bool] = []

    def way(self) -> tuple[str, ...]:
        return ("lab", self._learner, "headphone check")

    async def make(self) -> None:
        self.trials = await in_thread(headphone_check, secrets.randbits(32))
        self.put_up_trial()

    def question(self) -> tuple[Say, str, str]:
        number, count = len(self.right) + 1, len(self.trials)
        step = "Space plays two intervals: in which is the noise? Press 1 or 2; guess if you must."
        return Say(f"headphone check · noise {number} of {count}", step, BEFORE), str(number), "noise"

    def trial(self) -> Trial | None:
        return self.trials[len(self.right)] if len(self.right) < len(self.trials) else None

    def action_play(self) -> None:
        if self.phase == "done":
            self.dismiss("passed" if all(self.right) else "failed")
        else:
            super().action_play()

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        if self.phase != "ask" or (trial := self.trial()) is None:
            return
        if not self.query_one(Pairs).pairs[0].heard and self.query_one(Pairs).sounding[1] < 0:
            self._last_word = "Press Space first: nothing was played yet."
            self.put_up_trial()
            return
        self.silence()
        self.right.append(int(event.choice) == trial.hiss_in)
        self._last_word = ""
        if len(self.right) < len(self.trials):
            self.put_up_trial()
            self.action_play()
            return
        self.phase = "done"
        self.refresh_bindings()
        tone = "good" if all(self.right) else "caution"
        self.over(Say("headphone check · done", check_words(tuple(self.right)), "Space goes on.", tone=tone))
        self.set_focus(None)

    def action_back(self) -> None:
        """Leave: it is asked again the next time."""
        self.dismiss(None)

    def action_leave_out(self) -> None:
        self.dismiss("left-out")


class ThresholdScreen(WhichScreen[None]):
    """Which of four clips holds the hiss, until the threshold stands? Each level is the one that tells most."""

    INTERVALS = 4
    MUTE = "A threshold cannot be found without hearing; drills by picture still work."

    def __init__(self, root: Path, learner: Learner, background: str, headphones: bool | None = None) -> None:
        super().__init__()
        self._root, self._learner, self._background = root, learner, background
        self._headphones = headphones
        self.run_: ThresholdRun | None = None

    def way(self) -> tuple[str, ...]:
        return ("lab", self._learner.name, "ear threshold", self._background)

    async def make(self) -> None:
        about = self._root, self._learner, self._background
        self.run_ = await self.made(lambda: ThresholdRun(*about, headphones=self._headphones))
        if self.run_ is not None:
            self.put_up_trial()
            self.action_play()

    def question(self) -> tuple[Say, str, str]:
        at = f"trial {self.run_.number if self.run_ else 1} of {TRIALS}"
        say = Say(at, "Which of the four holds the hiss? Press 1 to 4; guess if you must.", CAUTION)
        return say, at, self._background

    def trial(self) -> Trial | None:
        """The trial in hand; rendered when first asked for."""
        return self.run_.trial() if self.run_ is not None and not self.run_.done else None

    @on(ChoicePanel.Chosen)
    @in_background("run")
    async def _chosen(self, event: ChoicePanel.Chosen) -> None:
        self.silence()
        run = self.run_
        if run is None or run.done:
            return
        held = run.trial().hiss_in
        right = await in_thread(run.answer, int(event.choice))
        self._last_word = "✓ right" if right else f"× it was the {ORDINALS[held - 1]}"
        if run.measured is not None:
            words = threshold_words(run.measured)
            self.over(Say("done", f"Your threshold: {words}.", "Esc goes back to the lab.", tone="good"))
            return
        self.put_up_trial()
        self.action_play()
