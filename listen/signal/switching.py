"""When the air was on and off in a switched take, and what share of the full hiss each moment then holds.

Symbols: u_i, v_i the moments at which the valve opens and shuts; a(t) in 0..1 the share of the full hiss: it rises with
``RISE_S`` after u and dies with tau after v, as the cylinder and the hose behind the valve fill and empty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

RISE_S = 0.15
"""Time constant of the rise: a valve opened over half a second has most of its bore after a third of that."""
REACTIONS_S = (0.1, 0.25, 0.4, 0.6)
"""How long after a command a hand turns the valve: simple reaction to a tone and a quarter turn, 0.1 to 0.6 s."""
USUAL_REACTION_S = float(np.mean(REACTIONS_S))
DECAYS_S = (0.15, 0.4, 1.0)
"""Time constants taken as equally likely where the sound does not tell: a large leak empties the clearance volume and
a short hose in a few tenths of a second, 5 % behind a 1.0 mm restrictor in one to two (METHOD section 11)."""
UNSURE_S = (-0.05, 0.05)
UNSURE_DECAY = (0.85, 1.15)
"""What edges found in the sound, and a decay read from it, may be off by: at -9 dB of hiss, where they begin to be
found, edges lie within 0.1 s and decays within a fifth."""
GUARD_S = (0.05, 0.3)
"""Left out before and after each edge: the valve's own noise, and the hand that turns it."""
SETTLED_S = (0.8, 1.2)
"""A loud hiss is heard so long before it is half there and after it is half gone, as the cylinder fills and empties:
0.1 litre through a 1.0 mm restrictor takes 0.7 s; a hiss by the third power of pressure is half there at 0.8..."""
SETTLED_SHARE = (0.33, 0.5)
"""...but no longer than this share of the half cycle: something must be left of it."""
TONE_S = 0.25
"""Left out after each command: the tone that gives it, and its echo."""


def commanded_times(cycles: int, period_s: float) -> tuple[tuple[float, float], ...]:
    """When the air is to be on in a take that begins and ends with air off; it lasts half a period longer."""
    half = 0.5 * period_s
    return tuple((half + i * period_s, (i + 1) * period_s) for i in range(cycles))


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """Edges of N cycles, and how surely they are known."""

    opened_s: NDArray[np.float64]
    """u, when the air began to sound, from the start of the take [shape=(N,)]; as commanded where not ``found``."""
    shut_s: NDArray[np.float64]
    """v, when it was shut off [shape=(N,)]."""
    found: bool
    """True where the edges were found in the sound itself; false where only the commands are known."""
    decay_s: float | None = None
    """tau, where the sound shows it."""
    told_s: tuple[float, ...] = ()
    """When commands were given, by tones that the microphone may hear."""
    clear: float = 0.0
    """Height of the switching over what the fit leaves of the sound, where it was found."""

    @classmethod
    def commanded(cls, on_s: Sequence[tuple[float, float]]) -> Timeline:
        """A timeline that rests on commanded times alone."""
        # Reshaped first: no cycles at all are still two rows.
        opened, shut = np.array(on_s, dtype=np.float64).reshape(-1, 2).T
        return cls(opened, shut, False, told_s=tuple(map(float, np.sort([*opened, *shut]))))

    @property
    def cycles(self) -> int:
        """How often the air came on."""
        return len(self.opened_s)

    @property
    def period_s(self) -> float:
        """From one opening to the next; of a single one twice as long as the air was on."""
        if self.cycles < 2:
            return float(2.0 * (self.shut_s - self.opened_s).sum())
        # The median: a hand that missed a turn leaves one period twice as long.
        return float(np.median(np.diff(self.opened_s)))

    @property
    def edges_s(self) -> NDArray[np.float64]:
        """All edges in order of time, with the usual reaction where they are commands [shape=(2N,)]."""
        edges = np.stack([self.opened_s, self.shut_s], axis=1).ravel()
        return np.asarray(edges if self.found else edges + USUAL_REACTION_S)

    def shares(self, t_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """a(t) for each edge and decay that may be, all equally likely [shape=(K, n)]."""
        late = UNSURE_S if self.found else REACTIONS_S
        taus = DECAYS_S if self.decay_s is None else tuple(self.decay_s * k for k in UNSURE_DECAY)
        return np.stack([_share(t_s, self.opened_s + d, self.shut_s + d, tau) for d, tau in product(late, taus)])

    def share(self, t_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """a(t) by the edges and decay that were found; else the mean over what may be [shape=(n,)]."""
        if not self.found:
            return np.asarray(self.shares(t_s).mean(axis=0))
        taus = DECAYS_S if self.decay_s is None else (self.decay_s,)
        return np.asarray(np.mean([_share(t_s, self.opened_s, self.shut_s, tau) for tau in taus], axis=0))

    def halves(self, t_s: NDArray[np.float64]) -> NDArray[np.intp]:
        """Number of the half cycle each moment lies in: even with the air off, odd with it on [shape=(n,)]."""
        return np.searchsorted(self.edges_s, t_s, side="right")

    def guarded(self, t_s: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Moments too near an edge to be used [shape=(n,)]."""
        before, after = GUARD_S
        since = t_s[:, None] - self.edges_s
        # Where only commands are known nobody knows where the edge is: `shares` averages over what may be.
        near = self.found & ((since > -before) & (since < after)).any(axis=1)
        after_tone = t_s[:, None] - np.array(self.told_s)
        return np.asarray(near | ((after_tone > -before) & (after_tone < TONE_S)).any(axis=1))

    def settled(self, t_s: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Moments far from any edge [shape=(n,)]."""
        # An edge far outside at either end: every moment then lies between two.
        edges = np.concatenate([[-np.inf], self.edges_s, [np.inf]])
        here = np.searchsorted(edges, t_s, side="right") - 1
        before, after = (np.minimum(s, k * np.diff(edges))[here] for s, k in zip(SETTLED_S, SETTLED_SHARE, strict=True))
        # Whoever stops a take may have turned the valve once more: its end counts as an edge.
        ends = np.minimum(edges[here + 1], t_s[-1])
        return np.asarray((t_s - edges[here] > after) & (ends - t_s > before))


def share_at(t_s: NDArray[np.float64], timeline: Timeline) -> NDArray[np.float64]:
    """a(t) for the very edges and decay of a timeline, nothing averaged over [shape=(n,)]."""
    return _share(t_s, timeline.opened_s, timeline.shut_s, timeline.decay_s or DECAYS_S[0])


def _share(
    t_s: NDArray[np.float64], opened: NDArray[np.float64], shut: NDArray[np.float64], tau: float
) -> NDArray[np.float64]:
    out = np.zeros(len(t_s))
    start = 0.0
    ends = np.append(opened[1:], np.inf)
    for u, v, end in zip(opened, shut, ends, strict=True):
        on, off = (t_s >= u) & (t_s < v), (t_s >= v) & (t_s < end)
        out[on] = 1.0 - (1.0 - start) * np.exp(-(t_s[on] - u) / RISE_S)
        # What it had risen to when it was shut: of a short cycle less than all.
        full = 1.0 - (1.0 - start) * np.exp(-(v - u) / RISE_S)
        out[off] = full * np.exp(-(t_s[off] - v) / tau)
        # A slow decay has not died when the air comes on again: the next rise begins there.
        start = full * float(np.exp(-(end - v) / tau))
    return out
