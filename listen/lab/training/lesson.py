"""A round to train on, as one row: what is wrong and how plain, over which shop, and what fools the ear in it.

Whatever the truth, there are the same points, the same clips and the same readings; loss is spread alike over all
leaks, since it tells how much is lost and not where.
"""

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from msgspec.structs import replace

from listen.lab.simulator import scene
from listen.lab.simulator.draw import draw, on_recording
from listen.lab.simulator.scene import Background, PointSpec, RoundSpec
from listen.lab.simulator.shops import shop_parts, shops
from listen.lab.simulator.switching_hand import Hand, as_switched
from listen.lab.simulator.worlds.readings import loss_by_cause
from listen.lab.simulator.worlds.world import Wishes
from listen.lab.training.held import Held, met
from listen.rounds.model import Facts
from listen.signal.switching import commanded_times
from listen.trade.points import Kind, PathId
from listen.voice.names import paths as path_names

POPULATION = "tune"
RATE_HZ = 32_000
"""Enough for the hiss bands up to 14 kHz, and a third less to ship."""
TAKE_S = 1.5
WALK = (Kind.QUIET, Kind.AIR)
LEVEL_DBFS = -58.0
SELF_NOISE_DB = -20.0
"""Keep the shipped files small: little signal above the noise is little to store."""
POINTS = ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole-2")
FIRING_ORDER = (1, 3, 4, 2)
"""With cylinder 1 at top dead centre the exhaust valve of its neighbour 2 stands open."""
BUBBLES_SEEN = {True: 0.95, False: 0.03}
"""Share of rounds in which bubbles were seen, where air goes to the coolant and where not."""
SUPPLY_KPA = 550.0
SWITCHED_PERIOD_S = 4.0
"""Of takes with the air switched: as long as the demo's, so that an ear has two seconds of each."""
SWITCHED_DECAY_S = (0.15, 0.6)
"""Time constants of the hiss after shut-off: from a large leak's to a middling one's (METHOD section 11)."""
SWITCHED_WANDER_DB = 0.3
"""How the shop's level moves within such a take. Judgement: less than what an ear hears as a change."""

Change = Callable[[RoundSpec], RoundSpec]


@dataclass(frozen=True, slots=True)
class Lesson:
    paths: tuple[str, ...]
    hiss_db: float = 8.0
    blow_by_db: float = -9.0
    shop: str = "idle shop"
    """Empty: any."""
    tags: tuple[str, ...] = ()
    """What it trains beside its truth. A row of ``clues.toml`` says what gave it away, where the usual clue is not the
    point."""
    change: Change | None = None


def _points(spec: RoundSpec, change: Callable[[PointSpec], PointSpec]) -> RoundSpec:
    return replace(spec, points=tuple(map(change, spec.points)))


def carried(source: str, at: str, level_db: float) -> Change:
    """Let a leak be heard at another point as loud as stated."""

    def heard(p: PointSpec) -> PointSpec:
        air = (replace(h, level_db=level_db) if h.source == source else h for h in p.air)
        return replace(p, air=tuple(air)) if p.point == at else p

    return lambda spec: _points(spec, heard)


def compressor_starts(spec: RoundSpec) -> RoundSpec:
    """The shop is louder in every air clip: the compressor came on, not the leak."""

    def louder(p: PointSpec) -> PointSpec:
        return replace(p, takes=tuple(replace(t, drift_db=2.2) if t.kind == Kind.AIR else t for t in p.takes))

    return _points(spec, louder)


def dripping(spec: RoundSpec) -> RoundSpec:
    """Drips in the background, air on or off: not bubbles."""
    drips = scene.Part(kind="drips", level_db=8.0, numbers={"per_s": 3.0})
    background = replace(spec.background, parts=(*spec.background.parts, drips))
    return replace(spec, background=background)


def bubbling(per_s: float, peak_db: float) -> Change:
    """Bubbles at the radiator while the air is on, as many and as loud as stated."""

    def change(spec: RoundSpec) -> RoundSpec:
        bubbles = scene.Bubbles(per_s=per_s, peak_db=peak_db)
        truth = replace(spec.truth, bubbles_per_s=per_s)
        wet = _points(spec, lambda p: replace(p, bubbles=bubbles) if p.point == "radiator" else p)
        return replace(wet, truth=truth)

    return change


def _facts(rng: np.random.Generator, paths: tuple[PathId, ...]) -> Facts:
    return Facts(
        loss_percent=round(loss_by_cause(rng, paths)),
        supply_kpa=SUPPLY_KPA,
        cylinder=1,
        firing_order=FIRING_ORDER,
        bubbles_seen=bool(rng.random() < BUBBLES_SEEN[PathId.COOLANT_PASSAGE in paths]),
    )


def focus_of(spec: RoundSpec) -> tuple[str, ...]:
    """Tags that follow from a drawn round: its truth and how faint it is."""
    tags = [str(p) for p in spec.truth.paths]
    loudest = max((c.hiss_db for c in spec.truth.causes), default=0.0)
    if spec.truth.causes and loudest < 0:
        tags.append("faint")
    if len(spec.truth.causes) > 1:
        tags.append("two leaks")
    if any(t.switched for p in spec.points for t in p.takes):
        tags.append("air switched")
    return tuple(tags)


def shop_of(rng: np.random.Generator, name: str) -> Background:
    """A simulated shop by its name; an empty name draws one."""
    known = sorted(shops()[POPULATION])
    name = name or known[int(rng.integers(len(known)))]
    return Background(name=name, parts=shop_parts(rng, name), level_dbfs=LEVEL_DBFS)


def spec_of(
    rng: np.random.Generator,
    lesson: Lesson,
    name: str,
    background: Background | None = None,
    seconds: float = TAKE_S,
    walk: tuple[Kind, ...] = WALK,
) -> RoundSpec:
    """A round drawn as the row says."""
    wishes = Wishes(
        paths=tuple(PathId(p) for p in lesson.paths),
        hiss_db=lesson.hiss_db,
        points=POINTS,
        seconds=seconds,
        takes=walk,
        rate_hz=RATE_HZ,
        blow_by_db=lesson.blow_by_db,
        drift_db=0.1,
        cylinder=1,
        firing_order=FIRING_ORDER,
    )
    spec = draw(rng, POPULATION, wishes=wishes, name=name)
    microphone = scene.Microphone(colour=spec.microphone.colour, self_noise_db=SELF_NOISE_DB, bits=16)
    spec = replace(spec, microphone=microphone)
    spec = on_recording(spec, background) if background else replace(spec, background=shop_of(rng, lesson.shop))
    spec = lesson.change(spec) if lesson.change else spec
    return replace(spec, facts=_facts(rng, spec.truth.paths))


def switched(rng: np.random.Generator, spec: RoundSpec, cycles: int = 2) -> RoundSpec:
    """The same round taken with the air switched at a standing microphone, by a hand that is a little late."""
    told = commanded_times(cycles, SWITCHED_PERIOD_S)
    decay_s = float(np.exp(rng.uniform(*np.log(SWITCHED_DECAY_S))))
    hand = Hand()
    turns = {p.point: hand.turns(rng, told) for p in spec.points}
    valve = scene.Switched(on_s=(), decay_s=decay_s, wander_db=SWITCHED_WANDER_DB)
    how = {at: replace(valve, on_s=on_s) for at, on_s in turns.items()}
    return as_switched(spec, told, how)


def held_of(spec: RoundSpec, lesson: Lesson, trains: str = "", level_db: float | None = None) -> Held:
    """Such a round rendered, with what is said of it afterwards."""
    fooled = next((clues()[tag] for tag in lesson.tags if tag in clues()), None)
    return Held(
        id=spec.name,
        clips=met(spec),
        facts=spec.facts,
        truth=tuple(map(str, spec.truth.paths)),
        focus=tuple(dict.fromkeys((*focus_of(spec), *lesson.tags))),
        gave_away=fooled or clue(spec.truth.paths),
        spec=spec,
        trains=trains,
        level_db=level_db,
    )


@cache
def clues() -> dict[str, str]:
    """What gave a round away, by path and by tag (``clues.toml``)."""
    return tomllib.loads(files("listen.lab.training").joinpath("clues.toml").read_text("utf-8"))


def clue(paths: tuple[PathId, ...]) -> str:
    """What gave a round away; for a pair, both."""
    if len(paths) == 1:
        return clues()[paths[0]]
    return f"Two at once, {path_names(paths)}. " + " ".join(clues()[p] for p in paths)
