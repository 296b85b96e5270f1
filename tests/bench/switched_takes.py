"""Switched takes as frame-band powers: a shop that drifts and is not alone, and a hiss that follows a hand.

Powers are relative to the steady background, 1 in every band. What else sounds is drawn from the clock, never from the
switching, so that it falls on half cycles as it happens to.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.switching_hand import Hand
from listen.signal.bands import BANDWIDTH_HZ, CENTRES_HZ
from listen.signal.drift import NEPER_PER_DB
from listen.signal.switched import NEARLY_OFF, unknocked
from listen.signal.switching import Timeline, commanded_times, share_at
from listen.signal.take import quantile_bias

HOP_S = 1024 / 48_000
FRAME_DOF = 2.0 * BANDWIDTH_HZ / (48_000 / 2048) / 1.9
"""Chi-square degrees of freedom of a frame's band power, near enough (Hann: 1.9 of 2 a bin)."""
BIAS = quantile_bias(FRAME_DOF)
DRIFT_DB, DRIFT_S = 0.5, 60.0
"""A shop's drift and its time constant, as depths are stated for."""
DECAY_S = (0.15, 1.0)
"""Time constants of the hiss after shut-off, drawn log-uniformly."""

Powers = NDArray[np.float64]
Scene = Callable[[np.random.Generator, Powers], Powers]
"""What else sounds at these times: power over the background's [shape=(T, B)]."""


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """One take of one channel."""

    power: Powers
    t_s: Powers
    commanded: Timeline
    real: Timeline
    shop: Powers
    """Mean power of all that is not hiss, moment by moment [shape=(T, B)]."""
    hiss: Powers
    """Over a background of 1 [shape=(B,)]."""

    def background(self, timeline: Timeline, left_out: Sequence[int]) -> Powers:
        """What the hiss is stated over [shape=(B,)]: the shop as it was in the very frames that the quiet level is
        taken from, air-off halves in use once the hiss had died away, without knocks; each half alike.

        What else sounded while the air was on is no part of it: where a tool blew then, the quiet that the take was
        compared with did not have it.
        """
        half = np.where(timeline.guarded(self.t_s), -1, timeline.halves(self.t_s))
        used = (half >= 0) & unknocked(self.power, half) & (half % 2 == 0) & ~np.isin(half, left_out)
        share = timeline.share(self.t_s)
        died = used & (share <= NEARLY_OFF / max(float(self.hiss.mean()), 1.0))
        if not died.any():
            died = used & (share <= np.quantile(share[used], 1 / 3))
        return np.mean([self.shop[died & (half == h)].mean(axis=0) for h in np.unique(half[died])], axis=0)


def level(rng: np.random.Generator, t_s: Powers, sd_db: float) -> Powers:
    """A level in dB wandering about zero (Ornstein & Uhlenbeck) at even times [shape=(n,)]."""
    keep = np.exp(-(t_s[1] - t_s[0]) / DRIFT_S)
    kicks = sd_db * np.sqrt(1 - keep**2) * rng.standard_normal(len(t_s))
    out = np.empty(len(t_s))
    now = sd_db * rng.standard_normal()
    for i, kick in enumerate(kicks):
        now = keep * now + kick
        out[i] = now
    return out


def taken(
    rng: np.random.Generator,
    hiss: Powers | float,
    *,
    cycles: int = 6,
    half_s: float = 2.5,
    drift_db: float = 0.0,
    scene: Scene | None = None,
    channels: int = 1,
) -> list[Taken]:
    """One take, all its channels: the first hears ``hiss`` (over the background, per band), all hear shop and scene."""
    told = commanded_times(cycles, 2 * half_s)
    turned = np.array(Hand().turns(rng, told))
    decay_s = float(np.exp(rng.uniform(*np.log(DECAY_S))))
    real = Timeline(turned[:, 0], turned[:, 1], True, decay_s)
    t_s: Powers = np.arange(1, int((2 * cycles + 1) * half_s / HOP_S) + 1, dtype=np.float64) * HOP_S
    shop = np.exp(NEPER_PER_DB * level(rng, t_s, drift_db))[:, None] * np.ones(len(CENTRES_HZ))
    if scene is not None:
        shop = shop + scene(rng, t_s)
    out = []
    for c in range(channels):
        own = np.broadcast_to(hiss if c == 0 else 0.0, CENTRES_HZ.shape)
        heard = (shop + share_at(t_s, real)[:, None] * own) * _noise(rng, len(t_s))
        out.append(Taken(heard, t_s, Timeline.commanded(told), real, shop, own))
    return out


def _noise(rng: np.random.Generator, frames: int) -> Powers:
    return np.asarray(rng.gamma(FRAME_DOF / 2, 2 / FRAME_DOF, (frames, len(FRAME_DOF))))


def _tilted(db_per_octave: float, level_db: float) -> Powers:
    """Power per band, stated at 4 kHz [shape=(B,)]."""
    return np.asarray(10 ** ((level_db + db_per_octave * np.log2(CENTRES_HZ / 4000.0)) / 10))


def _spans(rng: np.random.Generator, t_s: Powers, on_s: tuple[float, float], off_s: tuple[float, float]) -> Powers:
    """1 while something is on, which comes and goes by itself [shape=(T,)]."""
    out, now = np.zeros(len(t_s)), -float(rng.uniform(0.0, on_s[1] + off_s[1]))
    while now < t_s[-1]:
        end = now + float(rng.uniform(*on_s))
        out[(t_s >= now) & (t_s < end)] = 1.0
        now = end + float(rng.uniform(*off_s))
    return out


def compressor(rng: np.random.Generator, t_s: Powers) -> Powers:
    """Starts or stops once within the take; red."""
    at, rise_s = rng.uniform(0.0, t_s[-1]), rng.uniform(0.1, 1.5)
    running = np.clip((t_s - at) / rise_s, 0.0, 1.0)
    running = running if rng.random() < 0.6 else 1.0 - running
    return np.asarray(running[:, None] * _tilted(rng.uniform(-6, -2), rng.uniform(-12, 6)))


def speech(rng: np.random.Generator, t_s: Powers) -> Powers:
    """Phrases of syllables, gaps between."""
    talking = _spans(rng, t_s, (0.8, 2.0), (0.25, 0.6))
    syllables = np.maximum(np.sin(2 * np.pi * rng.uniform(2.5, 5.0) * t_s + rng.uniform(0, 6)), 0.0) ** 2
    return np.asarray((talking * syllables)[:, None] * _tilted(-5.0, rng.uniform(-8, 6)))


def ratchet(rng: np.random.Generator, t_s: Powers) -> Powers:
    """Trains of clicks, now and then."""
    clicks_hz = rng.uniform(14, 24)
    clicking = (np.mod(t_s * clicks_hz, 1.0) < HOP_S * clicks_hz) * _spans(rng, t_s, (0.3, 1.2), (1.0, 4.0))
    return np.asarray(clicking[:, None] * _tilted(rng.uniform(-2, 2), rng.uniform(6, 18)))


def tool(rng: np.random.Generator, t_s: Powers) -> Powers:
    """A neighbour's air tool: seconds on, seconds off, much like a leak in sound."""
    running = _spans(rng, t_s, (0.7, 6.0), (1.5, 10.0))
    return np.asarray(running[:, None] * _tilted(rng.uniform(-1, 4), rng.uniform(-10, 8)))


SCENES: dict[str, Scene | None] = {
    "drift alone": None,
    "compressor starts or stops": compressor,
    "speech": speech,
    "ratchets": ratchet,
    "a neighbour's tool": tool,
}
"""What else sounds in a take, drift of 0.5 dB besides."""
