"""The air that a leak lets out, from how fast its hiss dies once the supply is off, beside what the gauge makes it.

Symbols: V volume that empties (the cylinder at top dead centre and the hose behind the valve), q leak in free air a
second at full pressure p, p_0 the pressure outside. While the hole is choked both its flow and the air left in V follow
absolute pressure: p falls as exp(-t / tau), tau = V p / (p_0 q). The power of the hiss is taken to follow the flow.
"""

from math import pi

from listen.trade.restrictor import OUTSIDE_KPA

HOSE_MM, HOSE_M = 6.0, 1.0
"""Bore and length of hose between valve and cylinder: a tester's own where nobody states another."""
CHOKED_L_S = 1.96e-3
"""Free air through a choked ideal hole, litres a second a square millimetre and kilopascal (isentropic, 20 °C)."""


def emptied_l(swept_cc: float, ratio: float, hose_mm: float = HOSE_MM, hose_m: float = HOSE_M) -> float:
    """Volume that empties, litres: over the piston of a cylinder of this displacement and ratio, and the hose."""
    return swept_cc / (ratio - 1.0) / 1e3 + pi / 4 * hose_mm**2 * hose_m / 1e3


def leak_by_decay_l_s(decay_s: float, volume_l: float, supply_kpa: float) -> float:
    """Leak in litres of free air a second at full pressure, from the time constant of the hiss; gauge pressure."""
    return volume_l * (supply_kpa + OUTSIDE_KPA) / OUTSIDE_KPA / decay_s


def leak_by_hole_l_s(hole_mm: float, supply_kpa: float) -> float:
    """The same through one hole, as the loss reading makes it (:func:`listen.trade.restrictor.leak_mm`)."""
    return CHOKED_L_S * pi / 4 * hole_mm**2 * (supply_kpa + OUTSIDE_KPA)
