"""The demo engine as the simulator knows it: what is really wrong with each cylinder, and how each point sounds."""

import numpy as np

from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.families import drift_curve
from listen.lab.simulator.hearing import heard_at
from listen.lab.simulator.scene import (
    Background,
    Cause,
    Microphone,
    Part,
    PointSpec,
    RoundSpec,
    SimFacts,
    TakeSpec,
    Truth,
)
from listen.trade.engine import Engine, layout, points_for
from listen.trade.points import Kind, PathId

DEMO_SEED = 20_260_317
"""Seed of every sample and identifier of the demo."""
POPULATION = "tune"
TAKE_S = 3.0
DRIFT_DB = 0.1
WALK = (Kind.QUIET, Kind.AIR, Kind.QUIET)

ENGINE: Engine = layout("inline-5", name="launch tractor, 2.5 litre inline 5, petrol")

SHOP = Background(
    name="boat shed with extraction and a compressor next door",
    level_dbfs=-57.0,
    parts=(
        Part(kind="noise", level_db=-1.0, curve=curve(-3.6 * OCTAVES - 1.2 * np.maximum(0, OCTAVES))),
        Part(kind="throb", level_db=-9.0, curve=curve(-4.0 * OCTAVES), numbers={"rate_hz": 11.3, "depth": 0.25}),
        Part(kind="tones", level_db=-8.0, numbers={"base_hz": 49.6, "top_hz": 2400.0, "tilt_db": -4.5}),
        Part(kind="ratchet", level_db=1.0, numbers={"per_s": 0.25, "clicks_hz": 17.0}),
        Part(kind="clanks", level_db=4.0, numbers={"per_s": 0.2}),
    ),
)
MICROPHONE = Microphone(
    name="simulated clip-on microphone",
    colour=curve(1.8 * np.exp(-0.5 * ((OCTAVES - 2.8) / 0.8) ** 2) - 0.4 * np.abs(OCTAVES)),
    self_noise_db=-24.0,
    bits=16,
)

TRUTHS: dict[int, Truth] = {
    1: Truth(blow_by_db=-5.0),
    2: Truth(blow_by_db=-6.5),
    3: Truth(blow_by_db=-5.5),
    4: Truth(blow_by_db=-4.0),
    5: Truth(causes=(Cause(PathId.INTAKE_VALVE, 8.0),), blow_by_db=-4.5),
}
FIRST_TRY = {3: Truth(causes=(Cause(PathId.SET_UP, 15.0),), blow_by_db=-5.5)}
"""What was wrong at a first try: cylinder 3 was not at top dead centre."""
LOSS: dict[int, float] = {1: 8.0, 2: 9.0, 3: 10.0, 4: 9.0, 5: 41.0}
"""Loss read on each cylinder, percent."""
FIRST_TRY_LOSS = 96.0


def _takes(rng: np.random.Generator) -> tuple[TakeSpec, ...]:
    orders = (1, 1, 2)
    return tuple(
        TakeSpec(
            kind=kind,
            order=order,
            seconds=TAKE_S,
            drift_db=round(float(rng.normal(0, DRIFT_DB)), 3),
            drift_curve=drift_curve(rng, 0.4 * DRIFT_DB),
        )
        for kind, order in zip(WALK, orders, strict=True)
    )


def demo_scene(cylinder: int, points: tuple[str, ...] | None = None, *, first_try: bool = False) -> RoundSpec:
    """Everything about the round on one cylinder of the demo engine, at its points or those given.

    ``first_try`` is the round told in the story where it differs from what a later one finds (cylinder 3).
    """
    seed = DEMO_SEED * 10 + cylinder
    rng = np.random.default_rng(seed)
    at = tuple(p.id for p in points_for(ENGINE, cylinder))
    truth = FIRST_TRY.get(cylinder, TRUTHS[cylinder]) if first_try else TRUTHS[cylinder]
    loss = FIRST_TRY_LOSS if PathId.SET_UP in truth.paths else LOSS[cylinder]
    air, sound, bubbles, offsets = heard_at(rng, POPULATION, truth, at, cylinder, ENGINE.firing_order)
    specs = [
        PointSpec(point=p, takes=_takes(rng), offset_db=offsets[p], air=air[p], sound=sound[p], bubbles=bubbles.get(p))
        for p in at
    ]
    return RoundSpec(
        name=f"demo, cylinder {cylinder}",
        seed=seed,
        truth=truth,
        points=tuple(s for s in specs if points is None or s.point in points),
        background=SHOP,
        microphone=MICROPHONE,
        facts=SimFacts(loss_percent=loss, cylinder=cylinder, firing_order=ENGINE.firing_order),
        population="demo",
    )
