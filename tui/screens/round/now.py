"""What a round's screen knows beside the job: what is under way, and how the last clip ended."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from listen.jobs.walk import Step, Wish
from tui.widgets.ladder import Mark


@dataclass(frozen=True, slots=True)
class Outcome:
    """How something ended: kept, to be done again, or stopped; with a sentence."""

    kept: bool
    sentence: str
    clip: str = ""
    """Id, where the clip is on disk."""
    excess_db: float | None = None
    stopped: bool = False
    lead: str = "Again, because"
    """What stands before the sentence where it was not kept."""
    lost: bool = False
    """The microphone went away; what had arrived is kept as a left-over take."""


@dataclass(frozen=True, slots=True)
class Now:
    """One frozen value, replaced whole."""

    plan: tuple[Wish, ...] = ()
    """Clips wanted out of turn, the next one first; empty: what is due."""
    taking: Step | None = None
    """The clip under way, from its announcement to its outcome. Banner, countdown and journal all read this one."""
    led: bool = False
    """Tones lead from clip to clip, see :mod:`tui.screens.round.ways`."""
    mark: Mark | None = None
    """What the ladder shows for the clip under way."""
    checking: tuple[tuple[str, str, str], ...] = ()
    """Clips on disk whose check is not over: id, point and walk of each."""
    judging: bool = False
    tried: tuple[str, ...] = ()
    """What the last try of judging rested on: it is not tried twice on the same."""
    outcome: Outcome | None = None
    """What became of the last clip."""
    excess: Mapping[str, float | None] = field(default_factory=dict)
    """What the clip check found, by point, before there is a verdict."""
    doubted: str = ""
    """What was wrong with the microphones before the last take: said once, then it is the user's choice."""

    def clip_s(self, usual: float) -> float:
        """Length of the next clip: as preferred, or longer where the plan says so."""
        return max(usual, self.plan[0].seconds if self.plan else 0.0)

    @property
    def busy(self) -> bool:
        """Whether a clip, or a walk that is led, is under way."""
        return bool(self.taking or self.led)
