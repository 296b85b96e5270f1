"""A world: one set of assumptions about engines, shops and microphones, from which whole rounds are drawn.

Worlds differ in structure: what a level is relative to, what it follows from, how sound gets about, what moves, what
is common. A constant of the judge is fitted on some of them and reported on another.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

import numpy as np
from msgspec.structs import replace

from listen.lab.simulator.curves import Curve, add, curve
from listen.lab.simulator.scene import Background, Bubbles, Cause, Hiss, Microphone, PointSpec, RoundSpec, Truth
from listen.lab.simulator.shops import SHOPS, one_machine, shop
from listen.lab.simulator.worlds.carrying import Common, Layout, Rates, Ways, layout, wrong
from listen.lab.simulator.worlds.readings import Notes, Tester, flow_l_s, readings, together
from listen.lab.simulator.worlds.sounds import Sound, duct, plain, ripple, usual
from listen.lab.simulator.worlds.walking import Restless, befall, kinds_walked, own_drift, steps, walk
from listen.trade.points import Kind, PathId

RATES: Rates = {
    "none": 0.27,
    "intake-valve": 0.13,
    "exhaust-valve": 0.16,
    "rings": 0.13,
    "coolant-passage": 0.07,
    "next-cylinder": 0.06,
    "pair": 0.08,
    "fitting": 0.06,
    "set-up": 0.04,
}
HOLES_MM: Mapping[str, tuple[float, float]] = {
    "blow-by": (0.4, 0.8),
    "intake-valve": (0.7, 2.4),
    "exhaust-valve": (0.7, 2.6),
    "rings": (0.9, 1.9),
    "coolant-passage": (0.35, 1.1),
    "next-cylinder": (0.6, 1.8),
    "fitting": (0.35, 0.9),
    "set-up": (4.0, 9.0),
}
"""Bore of one hole that passes as much, drawn log-uniformly; nobody opens an engine for less. At 550 kPa behind 1.0 mm:
0.5 mm loses 2 %, 0.7 mm 7 %, 1 mm 23 %, 2 mm 88 %."""
BETWEEN_CYLINDERS = 0.18
"""Spread of the natural log of blow-by's hole between cylinders of one engine."""

BETWEEN_ROUNDS_DB = 2.0
"""Spread of the shop's level between the rounds of a job, half an hour apart. Judgement."""

ONE_VALVE = 0.4
"""Off top dead centre, how often only one valve stands open: the air pushed the crank on, or the mark is off. On the
wrong stroke both do. Judgement."""
EXHAUST_FIRST = 2 / 3
"""How often that one is the exhaust valve, which opens first as the piston goes down under air. Judgement."""

WATER_DB = -6.0
"""Hiss above 4 kHz at the radiator about what another leak of this size would give: water swallows most. Judgement."""

Strength = Callable[[np.random.Generator, float, str, float, float], float]
"""(generator, what is usual on this engine, source, bore of its hole in mm, free air through it in l/s) -> level at its
own mouth, dB."""


def steady(rng: np.random.Generator) -> Restless:
    """A usual shop: some tenths of a decibel over minutes."""
    return Restless(
        level_db=float(rng.uniform(0.05, 0.6)),
        level_s=float(np.exp(rng.uniform(np.log(15), np.log(300)))),
        colour_db=float(rng.uniform(0.0, 0.3)),
    )


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a caller may fix of a round; None is drawn."""

    paths: tuple[PathId, ...] | None = None
    """What is wrong; ``(none,)`` is sound."""
    hiss_db: float | None = None
    """Level of every leak at its own mouth, about what the world's levels are about; ``WATER_DB`` less in coolant."""
    blow_by_db: float | None = None
    cylinder: int | None = None
    firing_order: tuple[int, ...] | None = None
    points: tuple[str, ...] | None = None
    takes: tuple[Kind, ...] | None = None
    """At each point, in order."""
    seconds: float | None = None
    rate_hz: int | None = None
    drift_db: float | None = None
    """Standard deviation of each clip's own drift."""


@dataclass(frozen=True, slots=True)
class World:
    """One set of assumptions. What is a function of a generator is drawn anew for every round."""

    name: str
    differs: str
    usual_db: Callable[[np.random.Generator], float]
    """Drawn once an engine; what it is the level of, ``strength`` says."""
    strength: Strength
    ways: Ways
    microphone: Callable[[np.random.Generator], Microphone] = plain
    about: Literal["background", "full-scale"] = "full-scale"
    rates: Rates = field(default_factory=lambda: RATES)
    holes_mm: Mapping[str, tuple[float, float]] = field(default_factory=lambda: HOLES_MM)
    one_valve: float = ONE_VALVE
    """Share of set-ups in which only one valve stands open."""
    sound: Callable[[np.random.Generator, str, float], Sound] = usual
    duct: Callable[[np.random.Generator, str], Curve] = duct
    comb: Callable[[np.random.Generator, str], tuple[float, float]] = lambda rng, at: (0.0, 0.0)
    """(spacing in Hz, height in dB) of a mouth's resonances."""
    restless: Callable[[np.random.Generator], Restless] = steady
    place_db: tuple[float, float] = (2.0, 4.0)
    """Spread of the shop's level between points, and of its colour there."""
    shops: tuple[str, ...] = tuple(SHOPS)
    """Sets of shops that are drawn from."""
    shop_dbfs: tuple[float, float] = (-60.0, -38.0)
    mishaps: float = 0.08
    sound_clips: float = 0.5
    shut_clips: float = 0.06
    each_point: float = 0.3
    """Share of rounds walked quiet, air, quiet at each point."""
    notes: Notes = field(default_factory=Notes)

    def draw(
        self,
        rng: np.random.Generator,
        name: str = "",
        common: Common | None = None,
        wishes: Wishes = Wishes(),
    ) -> RoundSpec:
        """Draw a round; ``common`` is what it shares with others of its engine."""
        common = common or Common()
        common.give("order", wishes.firing_order)
        common.give("restless", None if wishes.drift_db is None else own_drift(wishes.drift_db))
        # The order of what is drawn is part of the seed: moved, old figures of the bench compare with nothing.
        engine = layout(rng, common, wishes.cylinder, wishes.points)
        paths = wishes.paths or wrong(rng, self.rates, engine.points)
        tester = common.once("tester", lambda: Tester.of(rng))
        holes = {s: self._hole(rng, s, common) for s in ("blow-by", *(str(p) for p in paths if p != PathId.NONE))}
        bore = together(*holes.values())
        seconds = wishes.seconds or round(float(rng.uniform(2.5, 4.5)), 1)
        restless = common.once("restless", lambda: self.restless(rng))
        microphone = common.once("microphone", lambda: self.microphone(rng))
        sound_clips = common.once("sound", lambda: rng.random() < self.sound_clips)
        shut = common.once("shut", lambda: rng.random() < self.shut_clips)
        each_point = common.once("each-point", lambda: rng.random() < self.each_point)
        kinds = wishes.takes or kinds_walked(rng, sound=sound_clips, shut=shut)
        turns = steps(rng, engine.points, kinds, seconds, each_point=each_point)
        taken, mishap = befall(rng, walk(rng, turns, seconds, restless), self.mishaps)
        background = self._shop(rng, mishap, common)
        offsets = {
            p: round(common.once(("offset", p), lambda: float(rng.normal(0, self.place_db[0]))), 2)
            for p in engine.points
        }
        stated = {"blow-by": wishes.blow_by_db, **{str(p): _under_water(p, wishes.hiss_db) for p in paths}}
        air, sound, levels = self._air(rng, engine, holes, tester, offsets, stated)
        bubbling = PathId.COOLANT_PASSAGE in paths
        # From one to twelve a second.
        rate = round(float(np.exp(rng.uniform(0.0, 2.5))), 2) if bubbling else 0.0
        bubbles = Bubbles(per_s=rate, peak_db=round(float(rng.uniform(0, 20)), 2)) if bubbling else None
        points = tuple(
            PointSpec(
                point=p,
                takes=tuple(take for at, take in taken if at == p),
                offset_db=offsets[p],
                colour=common.once(("colour", p), lambda: curve(ripple(rng, self.place_db[1], 0.8))),
                air=air[p],
                sound=sound[p],
                bubbles=bubbles if p == "radiator" else None,
            )
            for p in engine.points
        )
        return RoundSpec(
            name=name or self.name,
            seed=int(rng.integers(2**46)),
            population=self.name,
            truth=Truth(
                causes=tuple(Cause(p, round(levels[str(p)], 2)) for p in paths if p != PathId.NONE),
                blow_by_db=round(levels["blow-by"], 2),
                bubbles_per_s=rate,
            ),
            points=points,
            background=background,
            microphone=microphone,
            rate_hz=wishes.rate_hz or (44_100 if rng.random() < 0.25 else 48_000),
            facts=readings(rng, engine, paths, tester, bore, self.notes),
        )

    def _hole(self, rng: np.random.Generator, source: str, common: Common) -> float:
        low, high = np.log(self.holes_mm[source])
        if source != "blow-by":
            return float(np.exp(rng.uniform(low, high)))
        return float(np.exp(common.near(rng, source, lambda: float(rng.uniform(low, high)), BETWEEN_CYLINDERS)))

    def _shop(self, rng: np.random.Generator, mishap: str, common: Common) -> Background:
        found = common.once("shop", lambda: shop(rng, str(rng.choice(self.shops))))
        parts = common.once("parts", lambda: one_machine(rng, found.parts))
        level = common.near(rng, "shop-level", lambda: float(rng.uniform(*self.shop_dbfs)), BETWEEN_ROUNDS_DB)
        return Background(
            name=f"{found.name}, {mishap}" if mishap else found.name, parts=parts, level_dbfs=round(level, 2)
        )

    def _air(
        self,
        rng: np.random.Generator,
        engine: Layout,
        holes: Mapping[str, float],
        tester: Tester,
        offsets: Mapping[str, float],
        stated: Mapping[str, float | None],
    ) -> tuple[dict[str, tuple[Hiss, ...]], dict[str, tuple[Hiss, ...]], dict[str, float]]:
        """What is heard with air in the cylinder under test and in the sound one, by point; each source's level."""
        once = engine.common.once
        usual_db = once("strength", lambda: self.usual_db(rng))
        carry = self.ways.of(rng, engine)
        ducts = {p: once(("duct", p), partial(self.duct, rng, p)) for p in engine.points}
        combs = {p: once(("comb", p), partial(self.comb, rng, p)) for p in engine.points}
        air: dict[str, list[Hiss]] = {p: [] for p in engine.points}
        levels: dict[str, float] = {}
        sound: dict[str, tuple[Hiss, ...]] = {}
        for source, hole in holes.items():
            flow = flow_l_s(tester.supply_kpa, tester.restrictor_mm, hole)
            drawn_db = self.strength(rng, usual_db, source, hole, flow)
            wished_db = stated[source]
            levels[source] = drawn_db if wished_db is None else wished_db
            shut = self._shut_valve(rng) if source == "set-up" else None
            # Off top dead centre air leaves by both valves, by one more than by the other, or by one alone.
            for part in ("intake-valve", "exhaust-valve") if source == "set-up" else (source,):
                level = levels[source] + (float(rng.normal(0, 4)) if part == "exhaust-valve" != source else 0.0)
                own = engine.own(part)  # none for a fitting
                first = str(rng.choice(own)) if own else None
                made = partial(self.sound, rng, part, hole)
                what = once("blow-by's sound", made) if part == "blow-by" else made()
                for p in engine.points:
                    loss = carry(part, first, p)
                    if self.about == "background":  # the same air stands out less where the shop is louder
                        loss += (offsets[first] if first else 0.0) - offsets[p]
                    if part != shut:
                        air[p].append(self._hiss(part, level + loss, what, ducts[p], combs[p]))
            # Now, before a fault is added: the sound cylinder has blow-by only, of rings a little more or less worn.
            if source == "blow-by":
                other = hole * float(np.exp(rng.normal(0, BETWEEN_CYLINDERS)))
                other_flow = flow_l_s(tester.supply_kpa, tester.restrictor_mm, other)
                step = self.strength(rng, usual_db, source, other, other_flow) - drawn_db
                sound = {
                    p: tuple(replace(h, level_db=round(h.level_db + step, 2)) for h in air[p]) for p in engine.points
                }
        return {p: tuple(h) for p, h in air.items()}, sound, levels

    def _shut_valve(self, rng: np.random.Generator) -> str | None:
        """The valve that stays shut off top dead centre, None where both are open."""
        # A generator of its own: what is drawn after it stays as the seed had it.
        own = rng.spawn(1)[0]
        if own.random() >= self.one_valve:
            return None
        return "intake-valve" if own.random() < EXHAUST_FIRST else "exhaust-valve"

    def _hiss(self, source: str, level_db: float, what: Sound, way: Curve, comb: tuple[float, float]) -> Hiss:
        return Hiss(
            source=source,
            level_db=round(level_db, 2),
            curve=add(what.shape, way),
            about=self.about,
            comb_hz=round(comb[0], 1),
            comb_db=round(comb[1], 2),
            whistle_hz=what.whistle_hz,
            whistle_db=what.whistle_db,
        )


def _under_water(path: PathId, level_db: float | None) -> float | None:
    return level_db + WATER_DB if level_db is not None and path == PathId.COOLANT_PASSAGE else level_db
