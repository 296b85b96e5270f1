"""Microphones met in shops: how they colour, hiss by themselves, roll off, follow the level, and clip."""

import msgspec
import numpy as np

from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.scene import Microphone
from listen.lab.simulator.worlds.sounds import ripple


def plain(rng: np.random.Generator, noise_dbfs: tuple[float, float] = (-98.0, -74.0)) -> Microphone:
    """A measuring or good clip-on microphone."""
    return Microphone(
        name=f"simulated microphone {int(rng.integers(1000)):03d}",
        colour=curve(np.clip(ripple(rng, 1.5), -4, 4)),
        self_noise_dbfs=round(float(rng.uniform(*noise_dbfs)), 2),
        bits=int(rng.choice([16, 24])),
        gain_db=round(float(rng.uniform(-3, 3)), 2),
    )


def rolled_off(rng: np.random.Generator) -> Microphone:
    """A cheap capsule behind a hole in a case: a resonance, then down by 6-18 dB an octave."""
    corner, steep = rng.uniform(2.6, 3.8), rng.uniform(6, 18)
    bell = rng.uniform(2, 10) * np.exp(-0.5 * ((OCTAVES - corner + 0.4) / 0.4) ** 2)
    shape = ripple(rng, 2.0) + bell - steep * np.maximum(0.0, OCTAVES - corner)
    low = -rng.uniform(0, 8) * np.maximum(0.0, -1.5 - OCTAVES)
    return _with(plain(rng, (-92.0, -66.0)), colour=curve(shape + low), bits=16)


def following(rng: np.random.Generator) -> Microphone:
    """A laptop's or telephone's, with automatic gain."""
    return _with(rolled_off(rng), agc=round(float(rng.uniform(0.15, 0.95)), 2))


def hot(rng: np.random.Generator) -> Microphone:
    """Gain set once for a quiet moment and left: loud clips clip."""
    return _with(plain(rng), fixed_gain=True, gain_db=round(float(rng.uniform(0, 24)), 2))


def _with(microphone: Microphone, **changes: object) -> Microphone:
    return msgspec.structs.replace(microphone, **changes)
