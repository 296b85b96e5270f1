"""The shipped drills: a beginner, an intermediate and a trap set, each round stated and seeded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import msgspec
import numpy as np

from listen.lab.simulator.draw import Wishes, draw
from listen.lab.simulator.scene import Background, Bubbles, Hiss, Microphone, Part, PointSpec, RoundSpec, TakeSpec
from listen.lab.simulator.shops import SHOPS
from listen.lab.training.clues import clue
from listen.lab.training.drills import DrillSet
from listen.lab.training.make_drill import POPULATION, Made, focus_of
from listen.trade.points import Kind, PathId

LESSON_SEED = 7_041
RATE_HZ = 32_000
"""Enough for the hiss bands up to 14 kHz, and a third less to ship."""
TAKE_S = 2.0
WALK = (Kind.QUIET, Kind.AIR)
LEVEL_DBFS = -58.0
SELF_NOISE_DB = -20.0
"""Keep the shipped files small: little signal above the noise is little to store."""
THREE = ("intake", "tailpipe", "oil-filler")
FOUR = (*THREE, "radiator")
HOLE = (*THREE, "plug-hole-2")
FIRING_ORDER = (1, 3, 4, 2)
"""With cylinder 1 at top dead centre the exhaust valve of its neighbour 2 stands open."""

Change = Callable[[RoundSpec], RoundSpec]


@dataclass(frozen=True, slots=True)
class Lesson:
    """One round of a shipped set."""

    paths: tuple[str, ...]
    hiss_db: float = 8.0
    points: tuple[str, ...] = THREE
    blow_by_db: float = -9.0
    shop: str = "idle shop"
    tags: tuple[str, ...] = ()
    said: str = ""
    """What gave it away, where the usual clue is not the point."""
    change: Change | None = None
    loss_percent: float | None = None
    """Loss read; None draws one."""


def _points(spec: RoundSpec, change: Callable[[PointSpec], PointSpec]) -> RoundSpec:
    return msgspec.structs.replace(spec, points=tuple(map(change, spec.points)))


def _with_level(hisses: tuple[Hiss, ...], source: str, level_db: float) -> tuple[Hiss, ...]:
    return tuple(msgspec.structs.replace(h, level_db=level_db) if h.source == source else h for h in hisses)


def _carried(source: str, at: str, level_db: float) -> Change:
    """Let a leak be heard at another point as loud as stated."""

    def change(spec: RoundSpec) -> RoundSpec:
        return _points(
            spec,
            lambda p: msgspec.structs.replace(p, air=_with_level(p.air, source, level_db)) if p.point == at else p,
        )

    return change


def _compressor_starts(spec: RoundSpec) -> RoundSpec:
    """The shop is louder in every air clip: the compressor came on, not the leak."""

    def louder(take: TakeSpec) -> TakeSpec:
        return msgspec.structs.replace(take, drift_db=2.2) if take.kind == Kind.AIR else take

    return _points(spec, lambda p: msgspec.structs.replace(p, takes=tuple(map(louder, p.takes))))


def _dripping(spec: RoundSpec) -> RoundSpec:
    """Drips in the background, air on or off: not bubbles."""
    drips = Part(kind="drips", level_db=8.0, numbers={"per_s": 3.0})
    background = msgspec.structs.replace(spec.background, parts=(*spec.background.parts, drips))
    return msgspec.structs.replace(spec, background=background)


def _bubbling(per_s: float, peak_db: float) -> Change:
    def change(spec: RoundSpec) -> RoundSpec:
        bubbles = Bubbles(per_s=per_s, peak_db=peak_db)
        truth = msgspec.structs.replace(spec.truth, bubbles_per_s=per_s)
        wet = _points(spec, lambda p: msgspec.structs.replace(p, bubbles=bubbles) if p.point == "radiator" else p)
        return msgspec.structs.replace(wet, truth=truth)

    return change


BEGINNER = (
    Lesson(("intake-valve",), 12.0),
    Lesson(("exhaust-valve",), 12.0),
    Lesson(("rings",), 12.0),
    Lesson(("none",), blow_by_db=-8.0),
    Lesson(("coolant-passage",), 10.0, FOUR, change=_bubbling(8.0, 16.0)),
)
INTERMEDIATE = (
    Lesson(("intake-valve",), 2.0, shop="piston compressor"),
    Lesson(("exhaust-valve",), 1.0, shop="hammering"),
    Lesson(("rings",), 4.0, blow_by_db=-6.0, shop="talk"),
    Lesson(("next-cylinder",), 4.0, HOLE, shop="piston compressor"),
    Lesson(("none",), blow_by_db=-4.0, shop="talk"),
    Lesson(("intake-valve", "rings"), 6.0, shop="hammering"),
)
TRAP = (
    Lesson(
        ("exhaust-valve",),
        8.0,
        HOLE,
        tags=("cross-talk",),
        said="Both the tailpipe and the neighbour's plug hole hiss: its exhaust valve stands open. "
        "Only a hole that is loud while both pipes are quiet means the gasket.",
        change=_carried("exhaust-valve", "plug-hole-2", 5.0),
    ),
    Lesson(
        ("rings",),
        9.0,
        tags=("ventilation hose",),
        said="The intake hisses too, but through the crankcase ventilation hose: the filler is louder. "
        "Pull the hose off and listen again.",
        change=_carried("rings", "intake", 4.0),
        loss_percent=31.0,
    ),
    Lesson(
        ("none",),
        blow_by_db=2.0,
        tags=("normal blow-by",),
        said="A clear hiss at the filler alone, and a loss of few percent: every ring pack passes some air. "
        "Compare with a sound cylinder.",
    ),
    Lesson(
        ("none",),
        blow_by_db=-10.0,
        shop="piston compressor",
        tags=("compressor",),
        said="Every point grew louder by the same, hum and all: the shop changed, not the cylinder. "
        "A closing quiet clip would have shown it.",
        change=_compressor_starts,
    ),
    Lesson(("fitting",), 6.0, HOLE, tags=("fitting",)),
    Lesson(("set-up",), 14.0, tags=("not at top dead centre",)),
    Lesson(
        ("coolant-passage",),
        -2.0,
        FOUR,
        tags=("bubbles",),
        said="Hardly any hiss anywhere, but bubbles break at the radiator with the air on and not without.",
        change=_bubbling(5.0, 12.0),
    ),
    Lesson(
        ("none",),
        points=FOUR,
        tags=("drips",),
        said="Drips, air on or off alike. Bubbles come with the air and stop with it.",
        change=_dripping,
    ),
)
SETS: dict[str, tuple[str, str, tuple[Lesson, ...]]] = {
    "beginner": ("First leaks", "One leak at a time, plainly audible, in a calm shop.", BEGINNER),
    "intermediate": ("A working shop", "Fainter leaks over compressor, talk and hammering; one pair.", INTERMEDIATE),
    "trap": ("Traps", "What fools an ear: carried sound, blow-by, a fitting, a wrong set-up, drips.", TRAP),
}
"""One row a set: title, what it is, its rounds."""


def _shop(name: str, rng: np.random.Generator) -> Background:
    return Background(name=name, parts=SHOPS[POPULATION][name](rng), level_dbfs=LEVEL_DBFS)


def _made(rng: np.random.Generator, lesson: Lesson, number: int) -> Made:
    wishes = Wishes(
        paths=tuple(PathId(p) for p in lesson.paths),
        hiss_db=(lesson.hiss_db, lesson.hiss_db),
        points=lesson.points,
        seconds=(TAKE_S, TAKE_S),
        takes=WALK,
        rate_hz=RATE_HZ,
        background=_shop(lesson.shop, rng),
        blow_by_db=lesson.blow_by_db,
        drift_db=0.1,
        cylinder=1,
        firing_order=FIRING_ORDER,
    )
    spec = draw(rng, POPULATION, wishes=wishes, name=f"{number:02d}")
    quiet = Microphone(name="simulated microphone", colour=spec.microphone.colour, self_noise_db=SELF_NOISE_DB, bits=16)
    spec = msgspec.structs.replace(spec, microphone=quiet)
    spec = lesson.change(spec) if lesson.change else spec
    if lesson.loss_percent is not None:
        spec = msgspec.structs.replace(
            spec, facts=msgspec.structs.replace(spec.facts, loss_percent=lesson.loss_percent)
        )
    tags = tuple(dict.fromkeys((*focus_of(spec), *lesson.tags)))
    return Made(spec, tags, lesson.said or clue(spec.truth.paths))


def lesson_set(level: str) -> tuple[DrillSet, list[Made]]:
    """A shipped set and its rounds, ready to be written; order and samples follow from ``LESSON_SEED``."""
    title, about, lessons = SETS[level]
    rng = np.random.default_rng([LESSON_SEED, list(SETS).index(level)])
    made = [_made(rng, lesson, number) for number, lesson in enumerate(lessons, 1)]
    drill = DrillSet(id=level, title=title, level=level, about=f"{about} All simulated.", seed=LESSON_SEED)
    return drill, made
