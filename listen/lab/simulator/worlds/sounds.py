"""Spectra of air at its source and what a duct does to them: jets, ring packs, slits, wide slow releases;
and the microphones met in shops.

A jet peaks near St = f D / U = 0.2 (80 kHz for 1 mm) with a flank of 6 dB an octave below; restrictions in series
peak in the low kilohertz and fall above (METHOD section 4).
"""

from dataclasses import dataclass

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from listen.lab.simulator.curves import CONTROL_HZ, OCTAVES, Curve, curve
from listen.lab.simulator.scene import Microphone

SOUND_M_S = 343.0
STROUHAL = 0.2


@dataclass(frozen=True, slots=True)
class Sound:
    shape: Curve
    whistle_hz: float = 0.0
    whistle_db: float = 0.0


def ripple(rng: np.random.Generator, sd_db: float, octaves: float = 1.2) -> NDArray[np.float64]:
    """Smooth error about zero, dB, correlated over so many octaves [shape=(20,)]."""
    knots = np.arange(-6.0, 6.0, octaves)
    return np.asarray(np.interp(OCTAVES, knots + rng.uniform(0, octaves), rng.normal(0, sd_db * 1.15, len(knots))))


def jet(rng: np.random.Generator, hole_mm: float, sd_db: float = 3.0) -> Sound:
    """A choked hole: rising flank, peak far above hearing unless the hole is wide."""
    peak_hz = STROUHAL * SOUND_M_S / (hole_mm * 1e-3)
    r = CONTROL_HZ / peak_hz
    return Sound(curve(10 * np.log10(r**2 / (1 + r**2) ** 2) + ripple(rng, sd_db)))


def labyrinth(rng: np.random.Generator, sd_db: float = 3.0) -> Sound:
    """Restrictions in series (a ring pack, a drain): a broad low peak, red above."""
    peak_oct, slope = rng.uniform(-0.5, 1.8), rng.uniform(2.0, 6.0)
    below = -4.0 * np.maximum(0.0, peak_oct - OCTAVES)
    return Sound(curve(below - slope * np.maximum(0.0, OCTAVES - peak_oct) + ripple(rng, sd_db)))


def slit(rng: np.random.Generator, sd_db: float = 3.0) -> Sound:
    """A narrow gap or an edge: a hump two octaves wide, often with a whistle on it."""
    at = rng.uniform(1.0, 3.5)
    hump = -4.0 * ((OCTAVES - at) / rng.uniform(0.7, 1.6)) ** 2
    whistles = rng.random() < 0.6
    return Sound(
        curve(np.maximum(hump, -25.0) + ripple(rng, sd_db)),
        round(float(1000 * 2 ** (at + rng.uniform(-0.7, 0.7))), 1) if whistles else 0.0,
        round(float(rng.uniform(-12, 9)), 2),
    )


def usual(rng: np.random.Generator, source: str, hole_mm: float = 0.8) -> Sound:
    if source in ("rings", "blow-by"):
        return labyrinth(rng)
    if source == "fitting" and rng.random() < 0.3:
        return slit(rng)
    if rng.random() < 0.15:
        return labyrinth(rng)
    found = jet(rng, hole_mm)
    if source == "coolant-passage":
        return Sound(curve(np.asarray(found.shape) - 9.0 * np.maximum(0.0, 2.0 - OCTAVES)))
    return found


def duct(rng: np.random.Generator, at: str, dull: float = 1.0, sd_db: float = 2.0) -> Curve:
    """Colouring on the way to a mouth; silencers and long pipes take the top away."""
    steep = {"tailpipe": (1.5, 6.0), "intake": (0.0, 3.5), "oil-filler": (0.0, 3.0), "breather": (0.5, 4.0)}
    low, high = next((v for k, v in steep.items() if at.startswith(k)), (0.0, 1.5))
    loss = dull * rng.uniform(low, high) * np.maximum(0.0, OCTAVES - rng.uniform(-0.5, 1.0))
    return curve(ripple(rng, sd_db) - loss)


RED_SHARE = 0.15
"""Share of jets that come out red whatever the path (a wide slow release)."""


def bent(rng: np.random.Generator, source: str, hole_mm: float = 0.8) -> Sound:
    """Another family than all above, to be held out: broken slopes from -6 to +6 dB an octave (METHOD section 4)."""
    rings = source in ("rings", "blow-by")
    slope = rng.uniform(-6.0, 0.0) if rings or rng.random() < RED_SHARE else rng.uniform(-1.0, 6.0)
    bend = rng.uniform(0.5, 2.0 if rings else 3.5)
    after = np.clip(slope - rng.uniform(0, 3), -6, 6)
    shape = slope * np.minimum(OCTAVES, bend) + after * np.maximum(0.0, OCTAVES - bend)
    # Jets have little below their corner: 6 dB an octave down.
    shape = shape - 6.0 * np.maximum(0.0, rng.uniform(-1.5, 0.3) - OCTAVES) + _knotted(rng, 3.0)
    if source == "coolant-passage":
        shape = shape - 12.0 * np.maximum(0.0, 2.0 - OCTAVES)  # what reaches the neck as hiss lies above 4 kHz
    return Sound(curve(shape))


BENT_DUCTS = {
    "intake": (-3.0, 0.0),
    "tailpipe": (-6.0, -1.5),
    "oil-filler": (-3.5, 0.0),
    "radiator": (-2.0, 0.0),
    "plug-hole": (-1.5, 0.5),
    "breather": (-4.0, -1.0),
}
"""Extra slope on the way to the microphone, dB an octave above 1 kHz; the tailpipe dulls most."""


def bent_duct(rng: np.random.Generator, at: str) -> Curve:
    """The ways that go with ``bent``: a soft corner."""
    slope = rng.uniform(*next(v for k, v in BENT_DUCTS.items() if at.startswith(k)))
    corner = rng.uniform(-0.5, 1.5)
    loss = slope * 1.2 * np.log2(1 + 2.0 ** (2 * (OCTAVES - corner))) / 2
    return curve(loss + _knotted(rng, 1.5))


def _knotted(rng: np.random.Generator, sd_db: float) -> NDArray[np.float64]:
    """Smooth error about zero, dB, between six knots that lie anywhere [shape=(20,)]."""
    knots = np.sort(rng.uniform(-2, 4.5, 6))
    return np.asarray(np.interp(OCTAVES, knots, rng.normal(0, sd_db * 1.1, 6)))


def plain(rng: np.random.Generator, noise_dbfs: tuple[float, float] = (-98.0, -74.0)) -> Microphone:
    """A measuring or good clip-on microphone."""
    return Microphone(
        name=f"simulated microphone {int(rng.integers(1000)):03d}",
        colour=curve(np.clip(ripple(rng, 1.5), -4, 4)),
        self_noise_dbfs=round(float(rng.uniform(*noise_dbfs)), 2),
        bits=int(rng.choice([16, 24])),
        gain_db=round(float(rng.uniform(-3, 3)), 2),
    )


def near_the_shop(rng: np.random.Generator) -> Microphone:
    """Whose own noise lies 15-45 dB under the shop's, however loud that is."""
    return replace(plain(rng), self_noise_dbfs=None, self_noise_db=round(float(rng.uniform(-45, -15)), 2))


def resonant(rng: np.random.Generator) -> Microphone:
    """Another family, to be held out: a resonance or a dip at 3-14 kHz over a colour that falls to both sides."""
    bell = rng.uniform(-3, 4) * np.exp(-0.5 * ((OCTAVES - rng.uniform(1.5, 3.8)) / 0.8) ** 2)
    colour = curve(np.clip(bell - rng.uniform(0, 2) * np.abs(OCTAVES) / 4, -4, 4))
    return replace(near_the_shop(rng), name=f"simulated capsule {int(rng.integers(1000)):03d}", colour=colour)


def rolled_off(rng: np.random.Generator) -> Microphone:
    """A cheap capsule behind a hole in a case: a resonance, then down by 6-18 dB an octave."""
    corner, steep = rng.uniform(2.6, 3.8), rng.uniform(6, 18)
    bell = rng.uniform(2, 10) * np.exp(-0.5 * ((OCTAVES - corner + 0.4) / 0.4) ** 2)
    shape = ripple(rng, 2.0) + bell - steep * np.maximum(0.0, OCTAVES - corner)
    low = -rng.uniform(0, 8) * np.maximum(0.0, -1.5 - OCTAVES)
    return replace(plain(rng, (-92.0, -66.0)), colour=curve(shape + low), bits=16)


def following(rng: np.random.Generator) -> Microphone:
    """A laptop's or telephone's, with automatic gain."""
    return replace(rolled_off(rng), agc=round(float(rng.uniform(0.15, 0.95)), 2))


def hot(rng: np.random.Generator) -> Microphone:
    """Gain set once for a quiet moment and left: loud clips clip."""
    return replace(plain(rng), fixed_gain=True, gain_db=round(float(rng.uniform(0, 24)), 2))
