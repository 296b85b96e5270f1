"""Readings that go with a round: loss through restrictor and hole, what was written down, bubbles, compression.

Symbols: absolute pressures p0 (supply), p1 (cylinder), pa (air). A restrictor passes q = C p0 f(p1 / p0), f = 1 while
choked and an ellipse above (ISO 6358-1), C proportional to its area; the hole passes q = C' p1 f(pa / p1).
"""

from dataclasses import dataclass

import numpy as np

from listen.lab.simulator.worlds.carrying import Layout
from listen.rounds.model import Facts
from listen.trade.points import PathId

SUPPLIES_KPA = (345.0, 480.0, 550.0, 620.0, 690.0)
RESTRICTORS_MM = (0.5, 0.7, 1.0, 1.0, 1.0, 1.25, 1.5)
"""Bores of testers in use; 1.0 mm (0.040 in) is the commonest."""
GAUGE_PERCENT = 1.5
ZERO_PERCENT = 3.0
"""Spread of how well the tester was set to zero."""


@dataclass(frozen=True, slots=True)
class Tester:
    supply_kpa: float
    restrictor_mm: float

    @classmethod
    def of(cls, rng: np.random.Generator) -> "Tester":
        return cls(float(rng.choice(SUPPLIES_KPA)), float(rng.choice(RESTRICTORS_MM)))


@dataclass(frozen=True, slots=True)
class Notes:
    """Share of rounds in which each thing was written down."""

    loss: float = 0.85
    supply: float = 0.8
    restrictor: float = 0.5
    firing_order: float = 0.7
    compression: float = 0.25
    bubbles: float = 0.4
    loss_by_cause: bool = False
    """Whether the gauge shows what is drawn for the cause, not what restrictor and hole give."""


LOSS_BY_CAUSE = {"none": (7.0, 0.5), "set-up": (91.0, 0.06), "leak": (25.0, 0.5)}
"""Median (percent) and log standard deviation: alike over all leaks: it tells how much, not where."""


def loss_by_cause(rng: np.random.Generator, paths: tuple[PathId, ...]) -> float:
    """Percent, drawn by what is wrong."""
    median, sd = LOSS_BY_CAUSE.get(str(paths[0]), LOSS_BY_CAUSE["leak"])
    return min(100.0, float(median * np.exp(rng.normal(0, sd))))


def readings(
    rng: np.random.Generator, layout: Layout, paths: tuple[PathId, ...], tester: Tester, hole_mm: float, notes: Notes
) -> Facts:
    """Draw the readings of a round whose air leaves by one hole as large as all together."""
    if notes.loss_by_cause:
        read = loss_by_cause(rng, paths)
    else:
        true = loss_percent(tester.supply_kpa, tester.restrictor_mm, hole_mm)
        read = float(np.clip(true + rng.normal(0, GAUGE_PERCENT) + rng.normal(0, ZERO_PERCENT), 0.0, 100.0))
    # Compression sees the same hole for a fraction of a second: it falls with the hole's area, and the rings' with oil.
    opens = [p for p in paths if p not in (PathId.NONE, PathId.FITTING, PathId.SET_UP)]
    dry = rng.uniform(1000, 1400) * (1.0 - min(0.6, 0.16 * hole_mm**2) * bool(opens)) * rng.normal(1, 0.03)
    rise = rng.uniform(0.04, 0.3) if PathId.RINGS in paths else rng.uniform(0.0, 0.07)
    noted = rng.random(6) < (notes.loss, notes.supply, notes.restrictor, notes.firing_order, notes.compression, 1.0)
    looked = "radiator" in layout.points and rng.random() < notes.bubbles
    seen = bool(rng.random() < (0.9 if PathId.COOLANT_PASSAGE in paths else 0.04))
    return Facts(
        loss_percent=round(read, 1) if noted[0] else None,
        supply_kpa=tester.supply_kpa if noted[1] else None,
        restrictor_mm=tester.restrictor_mm if noted[2] else None,
        cylinder=layout.cylinder if noted[3] else None,
        firing_order=layout.order if noted[3] else None,
        bubbles_seen=seen if looked else None,
        compression_dry_kpa=round(float(dry), -1) if noted[4] else None,
        compression_wet_kpa=round(float(dry * (1 + rise)), -1) if noted[4] else None,
    )


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
    # Forty halvings: far below what any gauge shows.
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
    # Areas add, bores do not.
    return float(np.sqrt(sum(d * d for d in holes_mm)))
