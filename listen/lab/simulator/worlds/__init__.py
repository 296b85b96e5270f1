"""Worlds that differ in structure, a row each: what a level is relative to, what it follows from, how sound gets about,
what moves, what is common. The bench reports every one by itself."""

from collections.abc import Callable, Mapping

import numpy as np

from listen.lab.simulator.scene import Microphone
from listen.lab.simulator.worlds import sounds
from listen.lab.simulator.worlds.carrying import Ways
from listen.lab.simulator.worlds.readings import Notes
from listen.lab.simulator.worlds.sounds import SOUND_M_S, Sound, hot, plain, rolled_off, usual
from listen.lab.simulator.worlds.walking import Restless, own_drift
from listen.lab.simulator.worlds.world import HOLES_MM, RATES, Strength, World

HELD_SD_DB = 4.0
"""In the bay the microphone is held by hand, at another distance from each mouth: 4 and 12 cm differ by 10 dB."""
MUFFLED_DB = {"rings": -5.0, "blow-by": -5.0, "exhaust-valve": -7.0, "coolant-passage": -9.0}
"""What crankcase, silencer and water take of what flows."""
LENGTH_M = {"intake": (0.2, 0.9), "tailpipe": (1.5, 4.0), "oil-filler": (0.05, 0.3), "plug-hole": (0.05, 0.12)}
"""Pipes whose modes lie c / 2L apart."""


def _within(low: float, high: float) -> Callable[[np.random.Generator], float]:
    return lambda rng: float(rng.uniform(low, high))


def _of_no_hole(faults_db: tuple[float, float], set_up_db: tuple[float, float] | None = None) -> Strength:
    """Blow-by near one level an engine, every fault anywhere in a range: neither hole nor flow says how loud."""
    ranges_db = {"set-up": set_up_db or faults_db}

    def level(rng: np.random.Generator, usual_db: float, source: str, hole_mm: float, flow_l_s: float) -> float:
        if source == "blow-by":
            return float(usual_db + rng.normal(0, 2))
        return float(rng.uniform(*ranges_db.get(source, faults_db)))

    return level


def _of_the_hole(rng: np.random.Generator, usual_dbfs: float, source: str, hole_mm: float, flow_l_s: float) -> float:
    """Power at the mouth; a fitting's as heard 15 cm away."""
    quieter = {"blow-by": 14.0, "coolant-passage": 6.0, "fitting": 3.0}.get(source, 0.0)
    return float(usual_dbfs + 20 * np.log10(hole_mm / 0.8) - quieter + rng.normal(0, HELD_SD_DB))


def _of_the_flow(usual_l_s: float, db_a_decade: float, sd_db: float, more_db: Mapping[str, float]) -> Strength:
    """About what is usual at such a flow; ``more_db`` by source."""

    def level(rng: np.random.Generator, usual_dbfs: float, source: str, hole_mm: float, flow_l_s: float) -> float:
        followed = usual_dbfs + db_a_decade * np.log10(flow_l_s / usual_l_s)
        return float(followed + more_db.get(source, 0.0) + rng.normal(0, sd_db))

    return level


def _of_wear(rng: np.random.Generator, one_mm_db: float, source: str, hole_mm: float, flow_l_s: float) -> float:
    """Blow-by from 15 dB under the shop to 15 dB over it; a fault of the rings adds to it what its hole adds."""
    if source in ("blow-by", "rings"):
        return float(one_mm_db + 20 * np.log10(hole_mm) + rng.normal(0, 1.5))
    return float(rng.uniform(-6, 22))


def _pocket_microphone(rng: np.random.Generator) -> Microphone:
    kind = rng.choice(["following", "hot", "rolled off", "hissing"], p=[0.25, 0.25, 0.25, 0.25])
    if kind == "hissing":
        return plain(rng, (-78.0, -58.0))
    return {"following": sounds.following, "hot": hot, "rolled off": rolled_off}[str(kind)](rng)


def _slits(rng: np.random.Generator, source: str, hole_mm: float) -> Sound:
    """Half of the leaks are slits or edges."""
    return sounds.slit(rng) if source != "blow-by" and rng.random() < 0.5 else usual(rng, source, hole_mm)


def _comb(rng: np.random.Generator, at: str) -> tuple[float, float]:
    """Modes of the pipe behind a mouth."""
    low, high = next((v for k, v in LENGTH_M.items() if at.startswith(k)), (0.1, 0.5))
    return SOUND_M_S / (2 * float(rng.uniform(low, high))), float(rng.uniform(4, 24))


def _single_bands(rng: np.random.Generator) -> Restless:
    """Fans and tones come and go by themselves; the level stays."""
    bump_db = float(rng.uniform(0.5, 4.0))
    return Restless(level_db=0.2, level_s=60.0, bump_rate=0.25, bump_db=bump_db, bumps_everywhere=False)


def _from_busy_to_night(rng: np.random.Generator) -> Restless:
    """One drift for the whole walk, but for a fifth of its variance or less."""
    return Restless(
        level_db=float(np.exp(rng.uniform(np.log(0.3), np.log(2.5)))),
        level_s=float(np.exp(rng.uniform(np.log(3), np.log(400)))),
        colour_db=float(rng.uniform(0.1, 1.5)),
        colour_s=float(np.exp(rng.uniform(np.log(10), np.log(300)))),
        own_share=float(rng.uniform(0.0, 0.2)),
        bump_rate=0.06,
        bump_db=2.5,
    )


SHOP = World(
    name="shop",
    differs="Levels are stated over the noise at the point, drift is each clip's own, losses are drawn by cause.",
    about="background",
    usual_db=lambda rng: float(rng.normal(-7.5, 5)),
    strength=_of_no_hole((-10, 18), set_up_db=(0, 18)),
    ways=Ways(
        casting=(-17.5, 4.5),
        breather=(-17.5, 4.5),
        valve=(-8, 2.5),
        far=(-17.5, 4.5),
        in_the_open=False,
        even_fitting=True,
    ),
    sound=lambda rng, source, hole_mm: (usual if rng.random() < 0.5 else sounds.bent)(rng, source, hole_mm),
    duct=lambda rng, at: (sounds.duct if rng.random() < 0.5 else sounds.bent_duct)(rng, at),
    microphone=lambda rng: (sounds.near_the_shop if rng.random() < 0.5 else sounds.resonant)(rng),
    restless=lambda rng: own_drift(float(rng.uniform(0.0, 0.5))),
    shop_dbfs=(-55.0, -38.0),
    rates={
        "none": 0.25,
        "intake-valve": 0.12,
        "exhaust-valve": 0.12,
        "rings": 0.12,
        "coolant-passage": 0.06,
        "next-cylinder": 0.05,
        "pair": 0.12,
        "fitting": 0.08,
        "set-up": 0.08,
    },
    one_valve=0.0,
    mishaps=0.0,
    shut_clips=0.0,
    notes=Notes(
        loss=0.95, supply=1.0, restrictor=0.6, firing_order=1.0, compression=0.2, bubbles=0.3, loss_by_cause=True
    ),
)
_ALL = (
    SHOP,
    World(
        name="flow",
        differs="Level and loss follow from one bore behind a restrictor; normal blow-by is a smaller hole.",
        usual_db=_within(-58, -40),
        # A choked jet's sound is a share of its power, which follows the flow; one engine has one share.
        strength=_of_the_flow(1.0, 10, 3, MUFFLED_DB),
        ways=Ways(casting=(-20, 5), breather=(-9, 4), valve=(-8, 4), far=(-30, 6)),
        notes=Notes(loss=0.95, supply=0.95, restrictor=0.9),
    ),
    World(
        name="mouth",
        differs="Levels are absolute powers at the mouth that follow neither the shop nor the loss; wide transfer.",
        usual_db=lambda rng: float(rng.normal(-76, 7)),
        strength=_of_no_hole((-74, -40)),
        ways=Ways(casting=(-18, 6), breather=(-12, 6), valve=(-11, 5), far=(-28, 7), engine_db=4.0),
        microphone=lambda rng: hot(rng) if rng.random() < 0.3 else plain(rng),
        shop_dbfs=(-64.0, -36.0),
    ),
    World(
        name="bay",
        differs="Geometry decides: mouths near the plug hear a fitting 8-15 dB louder than a tailpipe metres away.",
        usual_db=_within(-62, -48),
        strength=_of_the_hole,
        # Ducts carry little; what crosses goes through the air of the bay.
        ways=Ways(casting=(-34, 5), breather=(-16, 6), valve=(-14, 5), far=(-40, 6)),
        rates={**RATES, "fitting": 0.2, "none": 0.22, "pair": 0.05},
        shut_clips=0.3,
        place_db=(3.0, 5.0),
    ),
    World(
        name="pipes",
        differs="Half of the leaks whistle or are humps, ducts are combs, single bands drift alone, capsules roll off.",
        about="background",
        usual_db=lambda rng: float(rng.normal(-8, 6)),
        strength=_of_no_hole((-10, 20)),
        ways=Ways(casting=(-19, 5), breather=(-10, 5), valve=(-9, 4), far=(-27, 6), in_the_open=False),
        microphone=lambda rng: rolled_off(rng) if rng.random() < 0.5 else plain(rng),
        sound=_slits,
        comb=_comb,
        restless=_single_bands,
    ),
    World(
        name="restless",
        differs="Drift of level and colour is large, shared by all points, fast or slow; six rounds in ten meet a "
        "mishap.",
        about="background",
        usual_db=lambda rng: float(rng.normal(-9, 6)),
        strength=_of_no_hole((-8, 20)),
        ways=Ways(casting=(-17, 5), breather=(-10, 5), valve=(-8, 4), far=(-24, 6)),
        restless=_from_busy_to_night,
        mishaps=0.6,
    ),
    World(
        name="worn",
        differs="Normal blow-by spans 30 dB and fails by degrees; base rates of worn engines; breathers carry over.",
        about="background",
        usual_db=_within(-4, 26),
        strength=_of_wear,
        ways=Ways(casting=(-15, 5), breather=(-6, 4), valve=(-7, 3), far=(-24, 6), engine_db=3.0),
        rates={
            "none": 0.2,
            "rings": 0.3,
            "exhaust-valve": 0.12,
            "intake-valve": 0.08,
            "next-cylinder": 0.05,
            "coolant-passage": 0.05,
            "pair": 0.14,
            "fitting": 0.03,
            "set-up": 0.03,
        },
        holes_mm={**HOLES_MM, "blow-by": (0.55, 1.0), "rings": (1.0, 2.2)},
        sound_clips=0.6,
        notes=Notes(restrictor=0.3),
    ),
    World(
        name="pocket",
        differs="The microphone limits: automatic gain, self-noise near the shop's, roll-off, clipping at a gain set "
        "once.",
        usual_db=_within(-66, -44),
        strength=_of_the_flow(0.2, 5, 6, {"blow-by": -12.0}),
        ways=Ways(casting=(-21, 4), breather=(-11, 4), valve=(-10, 4), far=(-32, 5)),
        microphone=_pocket_microphone,
        shop_dbfs=(-66.0, -40.0),
        mishaps=0.15,
    ),
)
WORLDS: dict[str, World] = {w.name: w for w in _ALL}
