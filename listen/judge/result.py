"""The one result of a round, in the form other programs rely on (schema ``hissway.round/1``)."""

from typing import Annotated

import msgspec

from listen.bounded import Count, Cylinder, Deciban, Decibel, Rate, Seconds, Share
from listen.signal.flags import Flag

SCHEMA = "hissway.round/1"
TOP_FOUND_AGAIN = "top-found-again"
"""Name of a reading, and of what a verdict asks for: the loss once top dead centre was found again."""

Nats = Annotated[float, msgspec.Meta(ge=-100, le=0)]
"""Log likelihood about the greatest."""


class BubbleRates(msgspec.Struct, frozen=True):
    """Bubble events a second, air off and air on."""

    quiet: Rate
    air: Rate


class PointResult(msgspec.Struct, frozen=True, kw_only=True):
    """What one listening point says. Decibels; null where it could not be computed (a flag says why)."""

    point: str
    excess_db: Decibel | None
    """10 lg of air over quiet power, whitened over the hiss bands; may be negative."""
    excess_ci95_db: tuple[Decibel, Decibel] | None
    level_db: Decibel | None
    """Background-corrected level of the hiss; an upper bound where ``level_is_upper_bound``."""
    level_is_upper_bound: bool
    level_unit: str
    detected: bool
    detection_limit_db: Decibel | None
    """The smallest excess that would have been seen 95 times in 100."""
    drift_db: Decibel | None
    """Quiet-to-quiet level change, standard deviation."""
    bubbles_per_s: BubbleRates
    """Counted where the point holds coolant; zero elsewhere, where there is nothing to bubble through."""
    flags: tuple[Flag, ...] = ()
    taken: str = "walks"
    """``walks``, or ``switched``: the air went on and off at a standing microphone."""
    cycles: Count | None = None
    """Cycles used of a switched take."""
    decay_s: Seconds | None = None
    """Time constant of the hiss after shut-off in a switched take, where it can be told."""

    @property
    def would_see_db(self) -> float | None:
        """The detection limit, where it is to be told: where nothing was found.

        A hiss that was found may lie below it and is no less found: it stands above what one quiet point in a thousand
        reaches by chance, while of hisses at the limit 1 in 20 is missed (ISO 11843 has both). Beside such a hiss the
        limit would read as a doubt of it.
        """
        return None if self.detected else self.detection_limit_db


class PathResult(msgspec.Struct, frozen=True, kw_only=True):
    """One escape path's odds and what moved them."""

    path: str
    probability: Share
    """Probability that this is what is wrong; over all paths they sum to 1 (a pair's mass is shared)."""
    evidence_db: dict[str, Deciban]
    """Decibans by point and reading; with the prior they add up to the odds shown."""
    involved: Share = 0.0
    """Probability that this path is at work at all, alone or in a pair."""
    probability_range: tuple[Share, Share] | None = None
    """Least and most of ``probability`` over the sets of assumptions; None in results of older versions."""
    involved_range: tuple[Share, Share] | None = None
    """The same of ``involved``."""


class Again(msgspec.Struct, frozen=True):
    """A clip in which something went wrong: to be taken back and recorded again."""

    point: str
    kind: str
    number: Count = 0
    """Which of that kind at the point, 1 the one recorded first; 0: all of them."""


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """What may be said, and what to record next."""

    kind: str
    """``path``, ``several``, ``sound``, ``fitting``, ``set-up`` or ``unclear``."""
    paths: tuple[str, ...]
    probability: Share
    text: str
    next: str
    """The one recording or check that would help most; empty where nothing is needed."""
    next_point: str = ""
    """Where that recording is to be made, or that look taken."""
    next_kind: str = ""
    """Which clip it is: ``quiet``, ``air``, ``sound`` or ``shut``; or what is answered: ``bubbles``, ``loss``,
    ``top-found-again`` (the loss, top dead centre found again)."""
    next_seconds: Seconds = 0.0
    """Length of each clip of that recording; 0: as usual."""
    rests_on: tuple[str, ...] = ()
    """Assumptions and readings without which it would not be given, in words."""
    again: tuple[Again, ...] = ()
    """Clips that a slip of the person recording spoiled; empty where there is none, or it is not known which."""


class Blown(msgspec.Struct, frozen=True, kw_only=True):
    """What a crankcase's mouth says of one cylinder's blow-by."""

    point: str
    clean: Share
    """Probability that nothing but blow-by was heard, under the least favourable set of assumptions."""
    nats: tuple[Nats, ...]
    """Log likelihood of each of ``LEVELS_DB`` for all that was heard."""


class PlaceHeard(msgspec.Struct, frozen=True, kw_only=True):
    """The room's sound at one point, air off."""

    point: str
    band_db: tuple[Decibel, ...]
    """Level of each place band, dB re full scale (:mod:`listen.signal.clip_print`)."""


class EngineSay(msgspec.Struct, frozen=True, kw_only=True):
    """What a round says to the rounds of the engine's other cylinders; nothing in it comes from them."""

    cylinder: Cylinder
    zero_dbfs: Decibel
    """Level 0 dB of the round, re full scale."""
    points: tuple[Blown, ...]
    places: tuple[PlaceHeard, ...] = ()


class CauseSeen(msgspec.Struct, frozen=True, kw_only=True):
    """What a shop's teardowns showed of one path."""

    path: str
    times: Rate
    """How often; one of two on a cylinder counts one half."""
    losses: Count = 0
    """Of these alone on their cylinder, with loss, restrictor and supply read."""
    mean_log_mm: Decibel = 0.0
    """Mean of the natural log of the effective hole's bore in mm over them ..."""
    squares: Rate = 0.0
    """... and the sum of squares about it."""


class ShopSeen(msgspec.Struct, frozen=True, kw_only=True):
    """Counts of a shop's own teardowns that a judge was given: all that is needed to judge again elsewhere."""

    findings: Count
    causes: tuple[CauseSeen, ...]


class RoundResult(msgspec.Struct, frozen=True, kw_only=True):
    """All that a round came to."""

    schema: str = SCHEMA
    round: str
    points: tuple[PointResult, ...]
    paths: tuple[PathResult, ...]
    verdict: Verdict
    engine: EngineSay | None = None
    """What the round says to the engine's other cylinders; None: it was judged alone."""
    told_by: tuple[Cylinder, ...] = ()
    """Other cylinders of the engine whose rounds it was judged with."""
    learnt: tuple[str, ...] = ()
    """What was learnt beyond the round: a sentence on the engine's other cylinders, one on the shop's teardowns."""
    shop: ShopSeen | None = None
    """The shop's teardowns that base rates and spreads were moved by; None: the tables' alone."""

    @property
    def likeliest(self) -> tuple[PathResult, ...]:
        """The paths in the order of the figure that is shown: how likely each is, alone or with others."""
        return tuple(sorted(self.paths, key=lambda p: -max(p.involved, p.probability)))
