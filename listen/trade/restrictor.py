"""Air through holes: what a loss reads behind another restrictor, and the leak that the dying hiss tells of.

Two holes in series, the tester's and the leak's, pass the same air. Once the supply is off: V volume that empties (the
cylinder at top dead centre and the hose behind the valve), q leak in free air a second at full pressure p, p_0 the
pressure outside. While the hole is choked both its flow and the air left in V follow absolute pressure: p falls as
exp(-t / tau), tau = V p / (p_0 q). The power of the hiss is taken to follow the flow.
"""

import math

from listen.errors import ReadingError

REFERENCE_MM = 1.0
"""Restrictor every limit of the tables is written for (FAA safety-team tip, November 2011, bore below 127 mm)."""
USUAL_MM = (0.3, 4.0)
"""Bores that testers have; outside them a figure is a slip of the pen."""
SUPPLY_KPA = 552.0
"""Supply assumed where none is noted (80 psi, FAA AC 43.13-1B, chapter 8)."""
OUTSIDE_KPA = 101.3
"""Outside air at sea level (ISO 2533)."""
GAMMA = 1.4
"""Ratio of specific heats of air."""
CHOKED = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
"""Ratio of pressures below which a hole passes no more air, however low the pressure behind it."""
HELD_PERCENT = (0.1, 99.9)
"""Losses beyond these hold nothing that could be carried over."""


def leak_mm(loss_percent: float, restrictor_mm: float, supply_kpa: float = SUPPLY_KPA) -> float:
    """Bore of the one hole that leaks as much as the cylinder does, in millimetres.

    Air passes the restrictor from the supply (gauge pressure) into the cylinder and the leak from the cylinder into the
    open; both pass the same mass. Each is an ideal hole (isentropic flow, choked where the ratio of pressures asks for
    it, same discharge), both at one temperature.

    Raises ReadingError: a loss, bore or supply outside what a tester shows."""
    _check(loss_percent, restrictor_mm, supply_kpa)
    supply, held = _absolute(supply_kpa), _absolute(supply_kpa * (1 - loss_percent / 100))
    # Equal mass through both: areas stand as the inverse of what a square millimetre of each passes.
    passed = supply * _flow(held / supply) / (held * _flow(OUTSIDE_KPA / held))
    # Areas go with the square of bores.
    return restrictor_mm * math.sqrt(passed)


def loss_behind(
    loss_percent: float, restrictor_mm: float, other_mm: float = REFERENCE_MM, supply_kpa: float = SUPPLY_KPA
) -> float:
    """The loss, in percent, that the same leak reads behind another restrictor.

    9 % behind 1.0 mm is about 67 % behind 0.5 mm. Losses of 0 and 100 % stay what they are.

    Raises ReadingError: as :func:`leak_mm`."""
    if math.isclose(restrictor_mm, other_mm) or not HELD_PERCENT[0] <= loss_percent <= HELD_PERCENT[1]:
        # 50: such a loss may pass here, a bore or supply out of range may not.
        _check(50.0, restrictor_mm, supply_kpa)
        return loss_percent
    wanted_mm = leak_mm(loss_percent, restrictor_mm, supply_kpa)
    low, high = HELD_PERCENT
    # By halves and not by a root finder of SciPy: this room is read before anything heavy is loaded.
    for _ in range(40):  # halves 100 points to far below what a gauge shows; the bore rises with the loss
        middle = (low + high) / 2
        low, high = (middle, high) if leak_mm(middle, other_mm, supply_kpa) < wanted_mm else (low, middle)
    return (low + high) / 2


def _absolute(gauge_kpa: float) -> float:
    return gauge_kpa + OUTSIDE_KPA


def _flow(ratio: float) -> float:
    """Mass flow through a hole over that of the same upstream pressure at full choke, by ratio of pressures."""
    r = max(ratio, CHOKED)
    most = CHOKED ** (2 / GAMMA) - CHOKED ** ((GAMMA + 1) / GAMMA)
    return math.sqrt(max(r ** (2 / GAMMA) - r ** ((GAMMA + 1) / GAMMA), 0.0) / most)


def _check(loss_percent: float, restrictor_mm: float, supply_kpa: float) -> None:
    if not HELD_PERCENT[0] <= loss_percent <= HELD_PERCENT[1]:
        raise ReadingError(f"a loss of {loss_percent:g} % has no leak of a size; only 0.1 to 99.9 % has")
    if not USUAL_MM[0] <= restrictor_mm <= USUAL_MM[1]:
        raise ReadingError(f"restrictor {restrictor_mm:g} mm: testers have {USUAL_MM[0]:g} to {USUAL_MM[1]:g} mm")
    if not 50 <= supply_kpa <= 2000:
        raise ReadingError(f"supply {supply_kpa:g} kPa: testers work with 50 to 2000 kPa")


HOSE_MM, HOSE_M = 6.0, 1.0
"""Bore and length of hose between valve and cylinder: a tester's own where nobody states another."""
CHOKED_L_S = 1.96e-3
"""Free air through a choked ideal hole, litres a second a square millimetre and kilopascal (isentropic, 20 °C)."""


def emptied_l(swept_cc: float, ratio: float, hose_mm: float = HOSE_MM, hose_m: float = HOSE_M) -> float:
    """Volume that empties, litres: over the piston of a cylinder of this displacement and ratio, and the hose."""
    return swept_cc / (ratio - 1.0) / 1e3 + math.pi / 4 * hose_mm**2 * hose_m / 1e3


def leak_by_decay_l_s(decay_s: float, volume_l: float, supply_kpa: float) -> float:
    """Leak in litres of free air a second at full pressure, from the time constant of the hiss; gauge pressure."""
    return volume_l * (supply_kpa + OUTSIDE_KPA) / OUTSIDE_KPA / decay_s


def leak_by_hole_l_s(hole_mm: float, supply_kpa: float) -> float:
    """The same through one hole, as the loss reading makes it (:func:`listen.trade.restrictor.leak_mm`)."""
    return CHOKED_L_S * math.pi / 4 * hole_mm**2 * (supply_kpa + OUTSIDE_KPA)
