"""The demo engine as the simulator knows it: what is really wrong with each cylinder, and how each point sounds.

What a round of today would hear stands in ``recordings/demo/scenes.json``, for the demo's microphone."""

from functools import cache

import numpy as np
from msgspec.structs import replace

from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.draw import POPULATIONS
from listen.lab.simulator.scene import Background, Cause, Microphone, Part, RoundSpec, Truth
from listen.lab.simulator.worlds.carrying import Common
from listen.lab.simulator.worlds.world import Wishes
from listen.rounds.model import Facts
from listen.trade.engine import Engine, layout, points_for
from listen.trade.points import Kind, PathId

DEMO_SEED = 20_260_319
"""Seed of every sample and identifier of the demo; one whose rounds come out as the story tells them."""
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
FIRST_TRY_LOSS = 100.0


@cache
def _drawn() -> dict[tuple[int, bool], RoundSpec]:
    """Every round by (cylinder, first try): one engine, so its ducts and ways are drawn once and in this order."""
    engine = Common()
    rounds = [(n, False, TRUTHS[n]) for n in ENGINE.cylinders] + [(n, True, truth) for n, truth in FIRST_TRY.items()]
    return {(n, first): _round(n, truth, engine) for n, first, truth in rounds}


def _round(cylinder: int, truth: Truth, engine: Common) -> RoundSpec:
    seed = DEMO_SEED * 10 + cylinder
    wishes = Wishes(
        paths=truth.paths,
        hiss_db=truth.causes[0].hiss_db if truth.causes else None,
        blow_by_db=truth.blow_by_db,
        cylinder=cylinder,
        firing_order=ENGINE.firing_order,
        points=tuple(p.id for p in points_for(ENGINE, cylinder)),
        takes=WALK,
        seconds=TAKE_S,
        rate_hz=48_000,
        drift_db=DRIFT_DB,
    )
    name = f"demo, cylinder {cylinder}"
    # Shop, microphone and readings are the story's, whatever was drawn: put in afterwards, they move nothing else.
    spec = POPULATIONS["tune"].draw(np.random.default_rng(seed), name, engine, wishes)
    loss = FIRST_TRY_LOSS if PathId.SET_UP in truth.paths else LOSS[cylinder]
    facts = Facts(loss_percent=loss, cylinder=cylinder, firing_order=ENGINE.firing_order)
    return replace(spec, seed=seed, background=SHOP, microphone=MICROPHONE, facts=facts, population="demo")


def demo_scene(cylinder: int, points: tuple[str, ...] | None = None, *, first_try: bool = False) -> RoundSpec:
    """Everything about the round on one cylinder of the demo engine, at its points or those given.

    ``first_try`` is the round told in the story where it differs from what a later one finds (cylinder 3).
    """
    spec = _drawn()[cylinder, first_try and cylinder in FIRST_TRY]
    return replace(spec, points=tuple(p for p in spec.points if points is None or p.point in points))
