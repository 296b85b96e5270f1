"""The shipped drills: a beginner, an intermediate and a trap set, each round stated and seeded."""

from collections.abc import Callable
from functools import partial
from hashlib import sha256

import numpy as np

from listen.lab.simulator.scene import GENERATOR, RoundSpec
from listen.lab.training.drills import DrillSet
from listen.lab.training.held import Held
from listen.lab.training.lesson import (
    Lesson,
    bubbling,
    carried,
    compressor_starts,
    dripping,
    held_of,
    spec_of,
)

LESSON_SEED = 7_041

BEGINNER = (
    Lesson(("intake-valve",), 12.0),
    Lesson(("exhaust-valve",), 12.0),
    Lesson(("rings",), 12.0),
    Lesson(("none",), blow_by_db=-8.0),
    Lesson(("coolant-passage",), 10.0, change=bubbling(8.0, 16.0)),
)
INTERMEDIATE = (
    Lesson(("intake-valve",), 2.0, shop="piston compressor"),
    Lesson(("exhaust-valve",), 1.0, shop="hammering"),
    Lesson(("rings",), 4.0, blow_by_db=-6.0, shop="talk"),
    Lesson(("next-cylinder",), 4.0, shop="piston compressor"),
    Lesson(("none",), blow_by_db=-4.0, shop="talk"),
    Lesson(("intake-valve", "rings"), 6.0, shop="hammering"),
)
TRAP = (
    Lesson(
        ("exhaust-valve",),
        8.0,
        tags=("cross-talk",),
        change=carried("exhaust-valve", "plug-hole-2", 5.0),
    ),
    Lesson(
        ("rings",),
        9.0,
        tags=("ventilation hose",),
        change=carried("rings", "intake", 4.0),
    ),
    Lesson(
        ("none",),
        blow_by_db=2.0,
        tags=("normal blow-by",),
    ),
    Lesson(
        ("none",),
        blow_by_db=-10.0,
        shop="piston compressor",
        tags=("compressor",),
        change=compressor_starts,
    ),
    Lesson(("fitting",), 6.0, tags=("fitting",)),
    Lesson(("set-up",), 14.0, tags=("not at top dead centre",)),
    Lesson(
        ("coolant-passage",),
        -2.0,
        tags=("bubbles",),
        change=bubbling(5.0, 12.0),
    ),
    Lesson(
        ("none",),
        tags=("drips",),
        change=dripping,
    ),
)
SETS: dict[str, tuple[str, str, tuple[Lesson, ...]]] = {
    "beginner": ("First leaks", "One leak at a time, plainly audible, in a calm shop.", BEGINNER),
    "intermediate": ("A working shop", "Fainter leaks over compressor, talk and hammering; one pair.", INTERMEDIATE),
    "trap": ("Traps", "What fools an ear: carried sound, blow-by, a fitting, a wrong set-up, drips.", TRAP),
}
"""One row a set: title, what it is, its rounds."""


def lesson_specs(level: str) -> list[RoundSpec]:
    """The rounds of a shipped set; all follows from ``LESSON_SEED``, their names too, and these tell nothing."""
    rng = np.random.default_rng([LESSON_SEED, list(SETS).index(level)])
    names = [sha256(f"{LESSON_SEED}/{level}/{n}".encode()).hexdigest()[:8] for n in range(len(SETS[level][2]))]
    return [spec_of(rng, lesson, name) for lesson, name in zip(SETS[level][2], names, strict=True)]


def lesson_set(level: str) -> tuple[DrillSet, list[Callable[[], Held]]]:
    """A shipped set and its rounds, ready to be written."""
    title, about, lessons = SETS[level]
    rounds = [partial(held_of, spec, one) for spec, one in zip(lesson_specs(level), lessons, strict=True)]
    drill = DrillSet(
        id=level,
        title=title,
        level=level,
        about=f"{about} All simulated.",
        simulated=True,
        generator=GENERATOR,
        rounds=len(rounds),
    )
    return drill, list(rounds)
