"""Air through the tester's restrictor and a hole in the cylinder: what the gauge reads, and how much air flows.

Symbols: absolute pressures p0 (supply), p1 (cylinder), pa (air). A restrictor passes q = C p0 f(p1 / p0), f = 1 while
choked and an ellipse above (ISO 6358-1), C proportional to its area; the hole passes q = C' p1 f(pa / p1).
"""

import numpy as np

AIR_KPA = 101.3
CRITICAL = 0.528
"""Ratio of pressures below which air is choked (isentropic flow, gamma 1.4)."""
CONDUCTANCE = 0.155
"""Litres a second (free air) per mm2 and 100 kPa absolute: choked flow of air at 20 degrees C times 0.8 for the jet's
contraction."""


def shut_down(ratio: float) -> float:
    """Flow about the choked flow at a ratio of pressures."""
    if ratio <= CRITICAL:
        return 1.0
    return float(np.sqrt(max(0.0, 1.0 - ((ratio - CRITICAL) / (1.0 - CRITICAL)) ** 2)))


def cylinder_kpa(supply_kpa: float, restrictor_mm: float, hole_mm: float) -> float:
    """Absolute pressure between restrictor and hole, by bisection."""
    supply = supply_kpa + AIR_KPA
    low, high = AIR_KPA, supply
    for _ in range(40):
        middle = 0.5 * (low + high)
        into = restrictor_mm**2 * supply * shut_down(middle / supply)
        out = hole_mm**2 * middle * shut_down(AIR_KPA / middle)
        low, high = (middle, high) if into > out else (low, middle)
    return 0.5 * (low + high)


def loss_percent(supply_kpa: float, restrictor_mm: float, hole_mm: float) -> float:
    """What the gauge shows: the fall of pressure over the restrictor, of the supply (gauge pressures)."""
    return float(100.0 * (1.0 - (cylinder_kpa(supply_kpa, restrictor_mm, hole_mm) - AIR_KPA) / supply_kpa))


def flow_l_s(supply_kpa: float, restrictor_mm: float, hole_mm: float) -> float:
    """Free air through the hole, litres a second."""
    inside = cylinder_kpa(supply_kpa, restrictor_mm, hole_mm)
    area = np.pi / 4 * hole_mm**2
    return float(CONDUCTANCE * area * inside / 100.0 * shut_down(AIR_KPA / inside))


def together(*holes_mm: float) -> float:
    """Bore of one hole as large as several."""
    return float(np.sqrt(sum(d * d for d in holes_mm)))
