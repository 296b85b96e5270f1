"""What each listening point hears of each leak: own paths, cross-talk, blow-by, a fitting, a wrong set-up, bubbles.

A leak's level is stated whitened, in dB about the background at its own point. Elsewhere it is that less the
cross-talk, less what the background there is louder than at its own point.
"""

import numpy as np

from listen.lab.simulator.curves import Curve, add
from listen.lab.simulator.families import duct_shape, leak_shape
from listen.lab.simulator.scene import Bubbles, Cause, Hiss, Truth
from listen.trade.points import PathId, point
from listen.trade.transfer import OpenValve, valves_open

CROSS_TALK_DB = (-26.0, -9.0)
OPEN_VALVE_DB = (-12.0, -4.0)
"""Cross-talk through a neighbour's open valve (firing order)."""
OFFSET_SD_DB = 2.0
"""Spread of the background's level between points."""
BLOW_BY_SPREAD_DB = 2.0
"""Spread of normal blow-by between cylinders of one engine."""
ONE_MOUTH = (PathId.NEXT_CYLINDER, PathId.EXHAUST_VALVE)
"""A gasket opens to one neighbour, a cylinder breathes into one bank's pipe; at the other such point there is less."""
OTHER_MOUTH_DB = (-24.0, -2.0)
"""Level there about the first: a crossover carries nearly all, two separate ways next to nothing."""
BREATHER_DB = -3.0
"""Blow-by at the breather about the oil filler."""
FITTING_SPREAD_DB = 2.0
FITTING_NEAR_PLUG_DB = (2.0, 5.0)
"""A fitting is heard alike everywhere, strongest near the plug."""
SET_UP_SPREAD_DB = 3.0
COOLANT_HISS_DB = -6.0
"""Hiss above 4 kHz at the radiator about what another leak of this size would give: water swallows most."""
RECORDED_SHARE = 0.5
"""Share of leaks that take a recorded spectrum where there are any."""
BUBBLE_PEAK_DB = (3.0, 20.0)

Heard = dict[str, list[Hiss]]


def _own(path: PathId, points: tuple[str, ...]) -> list[str]:
    return [p for p in points if path in point(p).row.own]


def _open(path: PathId, at: str, valves: dict[int, OpenValve | None]) -> bool:
    """Whether the neighbour's open valve joins this path's manifold to this plug hole, or the hole to a manifold."""
    side = {PathId.INTAKE_VALVE: "intake", PathId.EXHAUST_VALVE: "exhaust"}
    neighbour = point(at).neighbour
    if neighbour is not None and path in side:
        return valves.get(neighbour) in (side[path], "overlap")
    return False


def _next_cylinder_open(at: str, points: tuple[str, ...], valves: dict[int, OpenValve | None]) -> bool:
    holes = [n for n in (point(p).neighbour for p in points) if n is not None]
    wanted = "intake" if at == "intake" else "exhaust" if at.startswith("tailpipe") else ""
    return any(valves.get(n) in (wanted, "overlap") for n in holes) and bool(wanted)


class _Listener:
    """Collects what is heard while a scene is put together (a builder, local to one call)."""

    def __init__(
        self, rng: np.random.Generator, population: str, points: tuple[str, ...], recorded: tuple[Curve, ...]
    ) -> None:
        self.rng, self.population, self.points, self.recorded = rng, population, points, recorded
        self.offsets = {p: round(float(rng.normal(0, OFFSET_SD_DB)), 2) for p in points}
        self.ducts = {p: duct_shape(rng, population, p) for p in points}

    def leak(self, source: str) -> Curve:
        """Spectrum of a leak at its source: a recorded one at times, where there are any."""
        if self.recorded and source != "coolant-passage" and self.rng.random() < RECORDED_SHARE:
            return self.recorded[int(self.rng.integers(len(self.recorded)))]
        return leak_shape(self.rng, self.population, source)

    def hear(self, heard: Heard, at: str, source: str, level_db: float, shape: Curve) -> None:
        hiss = Hiss(source=source, level_db=round(float(level_db), 2), curve=add(shape, self.ducts[at]))
        heard[at].append(hiss)

    def spread(
        self, heard: Heard, source: str, own: list[str], level_db: float, valves: dict[int, OpenValve | None]
    ) -> None:
        """A leak at its own points at ``level_db`` and everywhere else by cross-talk."""
        shape = self.leak(source)
        first = own[0] if own else None
        if len(own) > 1 and source in ONE_MOUTH:
            first = str(self.rng.choice(own))
        home = self.offsets[first] if first else 0.0
        for at in self.points:
            talk = self.rng.uniform(*CROSS_TALK_DB)
            through_valve = self.rng.uniform(*OPEN_VALVE_DB)
            if at in own:
                self.hear(heard, at, source, level_db + (0.0 if at == first else self.beside(source)), shape)
                continue
            path = PathId.RINGS if source == "blow-by" else PathId(source)
            joined = _open(path, at, valves)
            if path == PathId.NEXT_CYLINDER:
                joined = _next_cylinder_open(at, self.points, valves)
            loss = through_valve if joined else talk
            self.hear(heard, at, source, level_db + loss + home - self.offsets[at], shape)

    def beside(self, source: str) -> float:
        """Level of a leak at another of its own points about the first, dB."""
        if source in ONE_MOUTH:
            return float(self.rng.uniform(*OTHER_MOUTH_DB))
        return float(self.rng.normal(BREATHER_DB, 2))

    def everywhere(self, heard: Heard, level_db: float) -> None:
        shape = self.leak("fitting")
        for at in self.points:
            near = self.rng.uniform(*FITTING_NEAR_PLUG_DB) if at.startswith("plug-hole") else 0.0
            self.hear(heard, at, "fitting", level_db + near + self.rng.normal(0, FITTING_SPREAD_DB), shape)


def _cause(listener: _Listener, heard: Heard, cause: Cause, valves: dict[int, OpenValve | None]) -> None:
    if cause.path == PathId.FITTING:
        listener.everywhere(heard, cause.hiss_db)
    elif cause.path == PathId.SET_UP:
        for path in (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE):
            step = 0.0 if path == PathId.INTAKE_VALVE else listener.rng.normal(0, SET_UP_SPREAD_DB)
            listener.spread(heard, path, _own(path, listener.points), cause.hiss_db + step, valves)
    else:
        water = COOLANT_HISS_DB if cause.path == PathId.COOLANT_PASSAGE else 0.0
        listener.spread(heard, cause.path, _own(cause.path, listener.points), cause.hiss_db + water, valves)


def heard_at(
    rng: np.random.Generator,
    population: str,
    truth: Truth,
    points: tuple[str, ...],
    cylinder: int,
    firing_order: tuple[int, ...],
    recorded: tuple[Curve, ...] = (),
) -> tuple[dict[str, tuple[Hiss, ...]], dict[str, tuple[Hiss, ...]], dict[str, Bubbles], dict[str, float]]:
    """What every point hears: (air, sound cylinder's air, bubbles, background offsets in dB), each by point.

    ``recorded`` are spectra of real hisses to use beside the drawn ones.
    """
    listener = _Listener(rng, population, points, recorded)
    valves = valves_open(None, firing_order, cylinder)
    air: Heard = {p: [] for p in points}
    sound: Heard = {p: [] for p in points}
    own = [p for p in points if PathId.RINGS in point(p).row.own]
    # The same engine's rings: one spectrum and one way to each point, another level for each cylinder.
    listener.spread(air, "blow-by", own, truth.blow_by_db, valves)
    step = round(float(rng.normal(0, BLOW_BY_SPREAD_DB)), 2)
    for at in points:
        sound[at] = [Hiss(source=h.source, level_db=round(h.level_db + step, 2), curve=h.curve) for h in air[at]]
    for cause in truth.causes:
        _cause(listener, air, cause, valves)
    bubbles = {}
    if truth.bubbles_per_s and "radiator" in points:
        peak = round(float(rng.uniform(*BUBBLE_PEAK_DB)), 2)
        bubbles["radiator"] = Bubbles(per_s=truth.bubbles_per_s, peak_db=peak)
    return {p: tuple(h) for p, h in air.items()}, {p: tuple(h) for p, h in sound.items()}, bubbles, listener.offsets
