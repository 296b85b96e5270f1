"""Families of leak spectra, duct losses and microphones; the two populations share none of them.

``tune`` draws straight slopes with a broad hump and cosine ripple; ``report`` draws broken slopes with a log-normal
peak and a ripple of random knots. Both span the same range: -6 to +6 dB an octave over 1-16 kHz at the source, ring
packs and red releases included, with about 3 dB of smooth error (METHOD section 4 and "a first prototype").
"""

import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.curves import OCTAVES, Curve, curve
from listen.lab.simulator.scene import Microphone

POPULATIONS = ("tune", "report")
RIPPLE_DB = 3.0
"""Standard deviation of the smooth random part of a leak's spectrum."""
RED_SHARE = 0.15
"""Share of jets that come out red whatever the path (a wide slow release)."""
JET_SLOPES = (-1.0, 6.0)
RED_SLOPES = (-6.0, 0.0)
"""Slope at the source, dB an octave over 1-16 kHz."""
DUCT_SLOPES: dict[str, tuple[float, float]] = {
    "intake": (-3.0, 0.0),
    "tailpipe": (-6.0, -1.5),
    "oil-filler": (-3.5, 0.0),
    "radiator": (-2.0, 0.0),
    "plug-hole": (-1.5, 0.5),
    "breather": (-4.0, -1.0),
}
"""Extra slope on the way to the microphone, dB an octave above 1 kHz; the tailpipe dulls most."""


def _ripple(rng: np.random.Generator, population: str, sd_db: float) -> NDArray[np.float64]:
    if population == "tune":
        phases, weights = rng.uniform(0, 2 * np.pi, 4), rng.normal(0, 1, 4)
        waves = [
            w * np.cos(2 * np.pi * k * OCTAVES / 6 + p) for k, (w, p) in enumerate(zip(weights, phases, strict=True))
        ]
        return np.asarray(sd_db * np.sum(waves[1:], axis=0) / np.sqrt(1.5))
    knots = np.sort(rng.uniform(-2, 4.5, 6))
    return np.asarray(np.interp(OCTAVES, knots, rng.normal(0, sd_db * 1.1, 6)))


def leak_shape(rng: np.random.Generator, population: str, source: str) -> Curve:
    rings = source in ("rings", "blow-by")
    red = rings or rng.random() < RED_SHARE
    slope = rng.uniform(*(RED_SLOPES if red else JET_SLOPES))
    if population == "tune":
        hump = rng.uniform(2, 6) * np.exp(-0.5 * ((OCTAVES - rng.uniform(0, 1.5 if rings else 3.5)) / 1.2) ** 2)
        shape = slope * OCTAVES + hump
    else:
        bend = rng.uniform(0.5, 2.0 if rings else 3.5)
        after = np.clip(slope - rng.uniform(0, 3), -6, 6)
        shape = slope * np.minimum(OCTAVES, bend) + after * np.maximum(0.0, OCTAVES - bend)
    # Jets have little below their corner: 6 dB an octave down.
    low = -6.0 * np.maximum(0.0, rng.uniform(-1.5, 0.3) - OCTAVES)
    shape = shape + low + _ripple(rng, population, RIPPLE_DB)
    if source == "coolant-passage":
        shape = shape - 12.0 * np.maximum(0.0, 2.0 - OCTAVES)  # what reaches the neck as hiss lies above 4 kHz
    return curve(shape)


def duct_shape(rng: np.random.Generator, population: str, point: str) -> Curve:
    """Colouring on the way to a listening point, dB; its level is stated elsewhere."""
    family = next(name for name in DUCT_SLOPES if point.startswith(name))
    slope = rng.uniform(*DUCT_SLOPES[family])
    if population == "tune":
        loss = slope * np.maximum(0.0, OCTAVES)
    else:
        corner = rng.uniform(-0.5, 1.5)
        loss = slope * 1.2 * np.log2(1 + 2.0 ** (2 * (OCTAVES - corner))) / 2
    return curve(loss + _ripple(rng, population, 1.5))


def microphone(rng: np.random.Generator, population: str) -> Microphone:
    """A cheap microphone: colour within about 4 dB, own noise, 16 or 24 bits."""
    if population == "tune":
        colour = 4.0 * np.sin(2 * np.pi * (OCTAVES / rng.uniform(3, 8) + rng.random())) * rng.uniform(0.2, 1)
    else:
        peak = rng.uniform(1.5, 3.8)
        colour = (
            rng.uniform(-3, 4) * np.exp(-0.5 * ((OCTAVES - peak) / 0.8) ** 2) - rng.uniform(0, 2) * np.abs(OCTAVES) / 4
        )
    return Microphone(
        name=f"simulated microphone {population}-{int(rng.integers(1000)):03d}",
        colour=curve(np.clip(colour, -4, 4)),
        self_noise_db=round(float(rng.uniform(-45, -15)), 2),
        bits=24 if rng.random() < 0.4 else 16,
        gain_db=round(float(rng.uniform(-4, 4)), 2),
    )


def drift_curve(rng: np.random.Generator, sd_db: float) -> Curve:
    """Band-smooth part of a level drift, dB."""
    knots = np.linspace(-5, 4.5, 7)
    return curve(np.interp(OCTAVES, knots, rng.normal(0, 1, 7) * sd_db))
