"""Readings that go with a simulated round: loss, supply, bubbles seen, compression; broad and overlapping."""

import numpy as np

from listen.lab.simulator.scene import SimFacts
from listen.trade.points import PathId

LOSS: dict[str, tuple[float, float]] = {
    "none": (7.0, 0.50),
    "single": (27.0, 0.50),
    "coolant-passage": (19.0, 0.60),
    "fitting": (20.0, 0.60),
    "pair": (38.0, 0.45),
    "set-up": (91.0, 0.06),
}
"""Median (percent) and log standard deviation of the loss reading by cause; a reading means little across testers."""
LOSS_CEILING = 100.0
WET_RISE = {"rings": (0.10, 0.35), "other": (0.0, 0.07)}
"""Share by which oil lifts the compression reading."""


def _cause(paths: tuple[PathId, ...]) -> str:
    if len(paths) > 1:
        return "pair"
    return str(paths[0]) if str(paths[0]) in LOSS else "single"


def _loss(rng: np.random.Generator, cause: str) -> float:
    median, sd = LOSS[cause]
    return round(min(LOSS_CEILING, float(median * np.exp(rng.normal(0, sd)))), 1)


def _compression(rng: np.random.Generator, paths: tuple[PathId, ...]) -> tuple[float, float]:
    leaking = any(p not in (PathId.NONE, PathId.FITTING, PathId.SET_UP) for p in paths)
    dry = rng.uniform(1050, 1350) * (rng.uniform(0.55, 0.95) if leaking else rng.uniform(0.93, 1.03))
    rise = rng.uniform(*WET_RISE["rings" if PathId.RINGS in paths else "other"])
    return round(float(dry), -1), round(float(dry * (1 + rise)), -1)


def readings(
    rng: np.random.Generator,
    paths: tuple[PathId, ...],
    *,
    cylinder: int | None = None,
    firing_order: tuple[int, ...] | None = None,
    radiator: bool = False,
) -> SimFacts:
    """Draw the readings of a round whose truth is ``paths``."""
    bubbling = PathId.COOLANT_PASSAGE in paths
    looked = radiator and rng.random() < 0.3
    seen = bool(rng.random() < (0.95 if bubbling else 0.03))
    dry, wet = _compression(rng, paths)
    measured = rng.random() < 0.2
    return SimFacts(
        loss_percent=_loss(rng, _cause(paths)) if rng.random() < 0.95 else None,
        supply_kpa=float(rng.choice([480.0, 550.0, 620.0, 690.0])),
        restrictor_mm=1.0 if rng.random() < 0.6 else None,
        cylinder=cylinder,
        firing_order=firing_order,
        bubbles_seen=seen if looked else None,
        compression_dry_kpa=dry if measured else None,
        compression_wet_kpa=wet if measured else None,
    )
