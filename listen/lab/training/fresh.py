"""Rounds that nobody has met: drawn for one learner, rendered in memory, in no file until they are answered."""

import secrets
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from listen.lab.training import lesson as lessons
from listen.lab.training.book import Answer
from listen.lab.training.held import Held
from listen.lab.training.lesson import Lesson, bubbling, carried
from listen.lab.training.scoring import TWO, level_db

PAIRS = (
    ("exhaust-valve", "intake-valve"),
    ("intake-valve", "rings"),
    ("exhaust-valve", "rings"),
    ("coolant-passage", "intake-valve"),
    ("coolant-passage", "exhaust-valve"),
    ("coolant-passage", "rings"),
    ("next-cylinder", "rings"),
)
BLOW_BY_DB = (-14.0, -6.0)
"""Of every cylinder but a sound one, whose own staircase says it."""
BLOW_BY_AT_0_DB = -2.0
FIRST_TRAPS_BELOW_DB = 6.0
"""Nobody is fooled on purpose before a path is called right when it is plain."""
TRAP_SHARE = 0.3
SWITCHED_SHARE = 0.25
"""Taken with the air switched instead of walked, so that the ear comes to know both. Judgement."""
BUBBLES_PER_S = 8.0
BUBBLE_PEAK_DB = (3.0, 18.0)
SEED_BITS = 62


def _plain(truth: str, level: float, rng: np.random.Generator) -> Lesson:
    paths = PAIRS[int(rng.integers(len(PAIRS)))] if truth == TWO else (truth,)
    blow_by = BLOW_BY_AT_0_DB - level if truth == "none" else float(rng.uniform(*BLOW_BY_DB))
    peak = float(np.clip(level + 6.0, *BUBBLE_PEAK_DB))
    wet = bubbling(BUBBLES_PER_S, peak) if "coolant-passage" in paths else None
    return Lesson(paths, level, blow_by, shop="", change=wet)


def _trap(truth: str, level: float, plain: Lesson, rng: np.random.Generator) -> Lesson:
    """The same truth with what fools the ear about it, where there is such a thing."""
    if truth == "exhaust-valve":
        hole = carried(truth, "plug-hole-2", level - 3.0)
        return replace(plain, change=hole, tags=("cross-talk",))
    if truth == "rings":
        hose = carried(truth, "intake", level - 5.0)
        return replace(plain, change=hose, tags=("ventilation hose",))
    if truth == "none" and rng.random() < 0.5:
        return replace(plain, change=lessons.dripping, tags=("drips",))
    if truth == "none":
        return replace(plain, change=lessons.compressor_starts, tags=("compressor",))
    return plain


def fresh_round(pool: Sequence[str], answers: Sequence[Answer], seed: int | None = None) -> Held:
    """A round whose truth is any of ``pool`` with the same chance each time, as plain as its staircase says.

    The seed is the system's own chance, and never one that this learner has met.
    """
    met = {a.seed for a in answers}
    while seed is None or seed in met:
        seed = secrets.randbits(SEED_BITS)
    rng = np.random.default_rng(seed)
    truth = pool[int(rng.integers(len(pool)))]
    level = level_db(truth, answers)
    lesson = _plain(truth, level, rng)
    # Drawn whatever the truth, or the length of a clip would tell it; and without a trap, since those lie in what
    # changes from walk to walk.
    by_valve = bool(rng.random() < SWITCHED_SHARE)
    if not by_valve and level <= FIRST_TRAPS_BELOW_DB and rng.random() < TRAP_SHARE:
        lesson = _trap(truth, level, lesson, rng)
    spec = lessons.spec_of(rng, lesson, f"{seed:016x}")
    if by_valve:
        spec = lessons.switched(rng, spec)
    return replace(lessons.held_of(spec, lesson, truth, level), seed=seed)
