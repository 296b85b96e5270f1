"""What is really wrong in a simulated or opened-up round: the causes, and how loud each is."""

import msgspec

from listen.trade.points import PathId

SCHEMA = "hissway.truth/1"
GENERATOR = "hissway-simulator/1"
"""Name and version of the simulator; a change of what a seed renders needs a new number."""


class Cause(msgspec.Struct, frozen=True):
    """One thing that is wrong."""

    path: PathId
    """Where the air goes."""
    hiss_db: float
    """Whitened hiss over background at its own point, dB: mean over the third octaves 1-16 kHz of the power ratio.
    For the coolant passage, nominal: the water swallows ``hearing.COOLANT_HISS_DB`` of it."""


class Truth(msgspec.Struct, frozen=True, kw_only=True):
    """What is wrong in a round; no causes means a sound cylinder (normal blow-by only)."""

    causes: tuple[Cause, ...] = ()
    """None, one or two."""
    blow_by_db: float = -20.0
    """Whitened level of this cylinder's normal blow-by at the oil filler, dB about the background."""
    bubbles_per_s: float = 0.0
    """Rate of bubbles at the radiator while air is on."""

    @property
    def paths(self) -> tuple[PathId, ...]:
        """Paths at work; ``none`` alone for a sound cylinder."""
        return tuple(c.path for c in self.causes) or (PathId.NONE,)
