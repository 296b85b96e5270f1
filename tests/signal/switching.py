"""Switched takes as frame-band powers: steady noise, a shop that drifts, a hiss that follows a hand at the valve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import BANDWIDTH_HZ
from listen.signal.excess import Excess, excess
from listen.signal.switched import Locked, lock
from listen.signal.switching import Timeline, share_at
from listen.signal.take import quantile_bias

HOP_S = 1024 / 48_000
FRAME_DOF = 2.0 * BANDWIDTH_HZ / (48_000 / 2048) / 1.9
"""Chi-square degrees of freedom of a frame's band power, near enough (Hann: 1.9 of 2 a bin)."""
ALL = np.ones(13, dtype=bool)
BIAS = quantile_bias(FRAME_DOF)


@dataclass(frozen=True)
class Made:
    power: NDArray[np.float64]
    t_s: NDArray[np.float64]
    commanded: Timeline
    real: Timeline


def made(
    seed: int,
    hiss_db: float | None,
    *,
    cycles: int = 6,
    half_s: float = 2.5,
    drift_db: float = 0.0,
    decay_s: float = 0.4,
    late_s: float = 0.35,
    missed: tuple[int, ...] = (),
) -> Made:
    """A take that begins and ends with air off; the drift forgets itself in 60 s."""
    rng = np.random.default_rng(seed)
    told = np.array([(half_s * (2 * i + 1), half_s * (2 * i + 2)) for i in range(cycles)])
    turned = np.delete(told + late_s + 0.05 * rng.standard_normal(told.shape), missed, axis=0)
    real = Timeline(turned[:, 0], turned[:, 1], True, decay_s)
    n = int((2 * cycles + 1) * half_s / HOP_S)
    t_s = (np.arange(n) + 1.0) * HOP_S
    keep = np.exp(-HOP_S / 60.0)
    kicks = drift_db * np.sqrt(1 - keep**2) * rng.standard_normal(n)
    level = np.zeros(n)
    for i in range(1, n):
        level[i] = keep * level[i - 1] + kicks[i]
    hiss = 0.0 if hiss_db is None else 10 ** (hiss_db / 10)
    share = share_at(t_s, real) if len(turned) else np.zeros(n)
    noise = rng.gamma(FRAME_DOF / 2, 2 / FRAME_DOF, (n, 13))
    power = noise * (10 ** (level / 10) + hiss * share)[:, None]
    return Made(power, t_s, Timeline.commanded([(float(a), float(b)) for a, b in told]), real)


def locked(m: Made, timeline: Timeline | None = None) -> tuple[Locked, Excess]:
    """The take reduced, and its excess."""
    found = lock(m.power, m.t_s, timeline or m.commanded, BANDWIDTH_HZ)
    assert found is not None
    return found, excess(found.contrast, found.scatter, ALL, BIAS)
