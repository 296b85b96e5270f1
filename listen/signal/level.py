"""Level of the hiss with the background taken out, as the sound-power standards do it, and its upper bound.

Symbols: Delta = L_air - L_quiet per band, K1 = -10 lg(1 - 10^(-Delta/10)) (ISO 3744, ISO 3746, ISO 11202).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.contrast import Contrast

LEAST_DELTA_DB = 3.0
"""Below this difference the correction is not carried further: the level is an upper bound (ISO 3746)."""
NO_CORRECTION_DB = 15.0
"""Above it none is needed (ISO 3744)."""


@dataclass(frozen=True, slots=True)
class HissLevel:
    """Level of the hiss alone over the live bands."""

    level_db: float
    """dB re full scale, or dB SPL after calibration."""
    is_upper_bound: bool
    """True where most of it comes from bands less than 3 dB above quiet."""


def correction_db(delta_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """K1 for each difference, held at its 3 dB value below that."""
    delta = np.maximum(delta_db, LEAST_DELTA_DB)
    k1 = -10.0 * np.log10(1.0 - 10.0 ** (-0.1 * delta))
    return np.asarray(np.where(delta > NO_CORRECTION_DB, 0.0, k1))


def hiss_level(contrast: Contrast, calibration_db: float = 0.0) -> HissLevel:
    """Background-corrected level of the air group; ``calibration_db`` turns dBFS into dB SPL."""
    delta = 10.0 * np.log10(contrast.air.mean / contrast.quiet.mean)
    power = contrast.air.mean * 10.0 ** (-0.1 * correction_db(delta))
    bound = power[delta < LEAST_DELTA_DB].sum() > 0.5 * power.sum()
    return HissLevel(float(10.0 * np.log10(power.sum())) + calibration_db, bool(bound))
