"""What the judge takes for granted about engine, shop and tester, as values: the odds are worked out under each set.

Nobody has measured these on the engine at hand. Every set but the first leans one way on purpose; a path is named
only where all of them agree, and the least favourable one says which recording would replace the assumption.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumptions:
    """One set."""

    name: str
    """Identifier."""
    words: str
    """What is assumed, to follow "that"."""
    instead: str = ""
    """What to record or read so that it need not be assumed."""
    others: bool = False
    """Whether that takes another cylinder; a single has none, and its walk is repeated."""
    talk_db: float = 0.0
    """How much more of a leak than usual is heard at points that are not its own."""
    talk_widen: float = 1.0
    """Factor on how much that varies."""
    blow_by_db: tuple[float, float] = (-7.0, 10.0)
    """Normal blow-by at the oil filler about the shop's sound: mean and spread."""
    blow_by_open: float = 0.25
    """Chance that it has no known level and lies anywhere from -12 to +16 dB (METHOD section 11: without a sound
    cylinder it spans 20 dB and more). Judgement, not a fit."""
    normal_loss: float = 1.0
    """Factor on the normal loss of a cylinder."""
    sound_odds: float = 1.0
    """Factor on the prior odds of a sound cylinder."""
    stray: float = 0.002
    """Chance at each point that something else than air sounded in the air clip and looks like it."""
    outside: float = 0.04
    """Chance that something sounded at all points alike while the air was on."""

    @property
    def heard(self) -> "Assumptions":
        """What the clips' own odds hang on: sets that share it differ in priors and readings only."""
        # By what is left out, so that a figure added to the sets counts here until somebody says that it does not.
        return replace(self, name="", words="", instead="", others=False, normal_loss=1.0, sound_odds=1.0, outside=0.0)


BASE = Assumptions(name="usual", words="engine, shop and tester are as usual")
SETS: tuple[Assumptions, ...] = (
    BASE,
    Assumptions(
        name="cross-talk",
        words="hoses and castings carry no more from point to point than usual",
        instead="walk a cylinder known to be sound, the same points",
        others=True,
        talk_db=2.0,
        talk_widen=1.2,
    ),
    Assumptions(
        name="other-sounds",
        words="nothing else sounded while the air was on",
        instead="repeat the air walk",
        stray=0.0035,
        outside=0.06,
    ),
    Assumptions(
        name="normal-air",
        words="blow-by of the sound cylinders is usual for such an engine",
        instead="walk a cylinder known to be sound",
        others=True,
        blow_by_open=0.6,
    ),
    Assumptions(
        name="normal-loss",
        words="loss of the sound cylinders is usual for such an engine",
        instead="read the loss of the other cylinders",
        others=True,
        normal_loss=1.1,
    ),
    Assumptions(
        name="mostly-sound",
        words="such complaints end with a leak about as often as usual",
        instead="read the loss",
        sound_odds=1.25,
    ),
)
"""The sets, the usual one first. Every figure in them is judgement: how far such a thing may differ from the usual
before somebody would notice. All but cross-talk were twice as far from the usual: of 38 names that one of them withheld
(worlds, recorded shops, the independent simulation and two strangers) 37 were right; of 25 by cross-talk 19."""
