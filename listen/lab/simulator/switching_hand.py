"""A hand at the valve: when it turns it (late, uneven, missing a turn, or not at all), a drawn round taken that way
instead of walked, and the sound of such a take."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from listen.lab.simulator.noises import wander
from listen.lab.simulator.scene import PointSpec, RoundSpec, Switched, TakeSpec
from listen.signal.switching import Timeline, share_at
from listen.trade.points import Kind

Samples = NDArray[np.float32]
Spans = tuple[tuple[float, float], ...]
STEP_S = 0.05
"""Steps in which a shop's wandering level is drawn."""


@dataclass(frozen=True, slots=True)
class Hand:
    """What a person makes of commands."""

    reaction_s: tuple[float, float] = (0.1, 0.6)
    """Range from which each person's own is drawn."""
    jitter_s: float = 0.08
    """Standard deviation from one turn to the next."""
    misses: int = 0
    """Cycles left out."""
    forgets: bool = False
    """Never turns the valve."""

    def turns(self, rng: np.random.Generator, commanded: Spans) -> Spans:
        """When the valve really was opened and shut."""
        if self.forgets:
            return ()
        late = rng.uniform(*self.reaction_s) + self.jitter_s * rng.standard_normal((len(commanded), 2))
        left_out = set(rng.choice(len(commanded), self.misses, replace=False).tolist())
        # Never before the command: a hand waits for the tone.
        edges = np.array(commanded) + np.maximum(late, 0.0)
        return tuple((float(a), float(b)) for i, (a, b) in enumerate(edges) if i not in left_out)


SWITCHED_AS = {Kind.AIR: Kind.SWITCHED, Kind.SOUND: Kind.SWITCHED_SOUND}


def as_switched(spec: RoundSpec, commanded: Spans, how: Mapping[str, Switched]) -> RoundSpec:
    """The same round, each point taken by one switched take, the sound cylinder's too; ``how`` by point.

    What happened to the shop from walk to walk is gone with the walks, what it does within a take stands in ``how``;
    what else sounded in a point's air clip sounds for the same share of its switched take.
    """
    seconds = commanded[-1][1] + commanded[0][0]

    def switched(point: PointSpec) -> PointSpec:
        # Reversed: of two takes of a kind the first one stays in the dict.
        first = {t.kind: t for t in reversed(point.takes) if t.kind in SWITCHED_AS}
        takes = (
            TakeSpec(kind=SWITCHED_AS[kind], order=1, seconds=seconds, switched=how[point.point], also=t.also)
            for kind, t in sorted(first.items())
        )
        return replace(point, takes=tuple(takes))

    return replace(spec, points=tuple(map(switched, spec.points)))


def switched_sound(rng: np.random.Generator, shop: Samples, air: Samples, how: Switched, rate_hz: int) -> Samples:
    """The shop, wandering, and the hiss as the valve lets it [shape=(n,)]."""
    n = len(shop)
    if how.wander_db:
        steps_s = np.arange(0.0, n / rate_hz + STEP_S, STEP_S)
        level_db = np.interp(np.arange(n) / rate_hz, steps_s, wander(rng, steps_s, how.wander_db, how.wander_s))
        shop = shop * (10 ** (level_db / 20)).astype(np.float32)
    if not how.on_s:
        return shop
    opened, shut = np.array(how.on_s).T
    share = share_at(np.arange(n) / rate_hz, Timeline(opened, shut, True, how.decay_s))
    # The root: shares are of power.
    return np.asarray(shop + air * np.sqrt(share).astype(np.float32), dtype=np.float32)
