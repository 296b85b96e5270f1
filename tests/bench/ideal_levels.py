"""What an ideal meter would find of every hiss of a drawn round: levels by the scene alone."""

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.background import (
    band_widths_hz,
    hiss_scale,
    hiss_shape,
    layers_of,
    mean_bands,
    self_noise_density,
)
from listen.lab.simulator.curves import band_power
from listen.lab.simulator.scene import Hiss, RoundSpec, TakeSpec
from listen.trade.points import Kind

Level = tuple[float, float]
"""Power of one hiss over the background, mean over third octaves, and in full-scale units over all of them; linear."""


def ideal_levels(spec: RoundSpec, seconds: float = 0.5) -> dict[str, tuple[list[Level], list[Level]]]:
    """What an ideal meter finds of every hiss at each point, under air and under a sound cylinder's.

    No clip is made; the background comes from a stretch of so many seconds.
    """
    takes = (TakeSpec(kind=Kind.QUIET, order=1, seconds=seconds),)
    layers = [layers_of(spec, msgspec.structs.replace(point, takes=takes)) for point in spec.points]
    bands = [mean_bands(group, spec.rate_hz) for group in layers]
    n = layers[0][0].n
    own = self_noise_density(spec, bands, n) * band_widths_hz(n, spec.rate_hz)

    def level(hiss: Hiss, background: NDArray[np.float64]) -> Level:
        power = band_power(hiss_shape(spec, hiss, n), n, spec.rate_hz) * hiss_scale(spec, hiss, background, n)
        return float(np.mean(power / background)), float(power.sum())

    return {
        p.point: ([level(h, b + own) for h in p.air], [level(h, b + own) for h in p.sound])
        for p, b in zip(spec.points, bands, strict=True)
    }
