"""How the hiss of a leak rises and dies as air flows into the cylinder and out of it: physics, and nothing of ours."""

import numpy as np
from numpy.typing import NDArray

from listen.signal.switching import Timeline

R, GAMMA, KELVIN, AIR_PA = 287.0, 1.4, 293.0, 101_300.0
SUPPLY_PA, RESTRICTOR_M2 = 790_000.0, 0.65e-6
"""Six bar above the air behind a restrictor of 1.0 mm that lets through four fifths of its size."""


def _flow(p1: float, p2: float, area_m2: float) -> float:
    """Through a nozzle, kg/s: choked from p1 = 1.89 p2 on."""
    ratio = max(p2 / p1, 0.5283)
    part = ratio ** (2 / GAMMA) - ratio ** ((GAMMA + 1) / GAMMA)
    return area_m2 * p1 * float(np.sqrt(2 * GAMMA / (GAMMA - 1) / (R * KELVIN) * max(part, 0.0)))


def by_flow(t_s: NDArray[np.float64], hand: Timeline, leak_mm2: float, volume_cc: float) -> NDArray[np.float64]:
    """Hiss power over its largest [shape=(n,)]: the jet's power by the fifth of its Mach number (Lighthill 1952)."""
    opened = ((t_s[:, None] >= hand.opened_s) & (t_s[:, None] < hand.shut_s)).any(axis=1)
    step_s, p, out = float(t_s[1] - t_s[0]) / 5, AIR_PA, np.zeros(len(t_s))
    for i, on in enumerate(opened):
        for _ in range(5):
            fed = _flow(SUPPLY_PA, p, RESTRICTOR_M2) if on and p < SUPPLY_PA else 0.0
            p = max(p + R * KELVIN / (volume_cc * 1e-6) * (fed - _flow(p, AIR_PA, leak_mm2 * 1e-6)) * step_s, AIR_PA)
        mach = np.sqrt(2 / (GAMMA - 1) * ((p / AIR_PA) ** ((GAMMA - 1) / GAMMA) - 1))
        out[i] = _flow(p, AIR_PA, 1.0) * mach**7 / (1 + 0.2 * mach**2)
    return out / out.max()
