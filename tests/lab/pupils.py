"""Simulated learners who train for weeks as they are advised: one who hears all, one who guesses, two in between.

``python tests/lab/pupils.py`` prints what becomes of each over 28 days, several seeds each.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from listen.lab.training.book import CALLABLE, Answer
from listen.lab.training.fresh import PAIRS
from listen.lab.training.next_drill import STAGES, Profile, choose, profile
from listen.lab.training.scoring import TWO, level_db
from listen.lab.training.session import PRACTICE, SITTING

DAYS = 28
LAPSE = 0.03


def _heard(rng: np.random.Generator, level: float, threshold: float) -> bool:
    """Whether a leak at this level is heard: rises over a few decibels, with lapses."""
    return bool(rng.random() < (1 - LAPSE) / (1 + np.exp(-(level - threshold) / 1.5)))


Ear = Callable[[np.random.Generator, tuple[str, ...], str, float, int], tuple[str, ...]]


def knows(_r: np.random.Generator, truth: tuple[str, ...], _t: str, _l: float, _d: int) -> tuple[str, ...]:
    """Hears everything."""
    return truth


def guesses(rng: np.random.Generator, _truth: tuple[str, ...], _t: str, _l: float, _d: int) -> tuple[str, ...]:
    """Names anything."""
    return (str(rng.choice(CALLABLE)),)


def _by_threshold(
    rng: np.random.Generator, truth: tuple[str, ...], level: float, threshold: float, false: float
) -> tuple[str, ...]:
    if truth == ("none",):
        return (str(rng.choice(["rings", "intake-valve"])),) if rng.random() < false else ("none",)
    named = tuple(p for p in truth if _heard(rng, level, threshold))
    return named or (str(rng.choice(["none", "rings", "intake-valve", "exhaust-valve"])),)


def over_calls(rng: np.random.Generator, truth: tuple[str, ...], _t: str, level: float, _d: int) -> tuple[str, ...]:
    """Hears leaks, and leaks where there are none, in two sound cylinders of three."""
    return _by_threshold(rng, truth, level, 0.0, 2 / 3)


def improves(rng: np.random.Generator, truth: tuple[str, ...], _t: str, level: float, day: int) -> tuple[str, ...]:
    """Hears from +9 dB up on the first day, from -6 dB up on the last, and calls sound ever better."""
    done = day / (DAYS - 1)
    return _by_threshold(rng, truth, level, 9.0 - 15.0 * done, 0.4 - 0.35 * done)


PUPILS: dict[str, Ear] = {"knows": knows, "guesses": guesses, "over-calls": over_calls, "improves": improves}


@dataclass
class Weeks:
    """What became of one."""

    answers: list[Answer] = field(default_factory=list)
    advice: list[Profile] = field(default_factory=list)
    pools: list[tuple[str, ...]] = field(default_factory=list)
    intake_db: list[float] = field(default_factory=list)

    def kinds(self, since: int = 0) -> Counter[str]:
        """How often each kind of advice was given from a day on."""
        return Counter(p.kind for p in self.advice[since:])


def train(ear: Ear, seed: int, days: int = DAYS) -> Weeks:
    """A sitting of fresh rounds a day, as advised."""
    rng, weeks = np.random.default_rng(seed), Weeks()
    for day in range(days):
        pool = choose((), weeks.answers).pool
        weeks.advice.append(profile(weeks.answers))
        weeks.pools.append(pool)
        for _ in range(SITTING):
            trains = pool[int(rng.integers(len(pool)))]
            level = level_db(trains, weeks.answers)
            truth = PAIRS[int(rng.integers(len(PAIRS)))] if trains == TWO else (trains,)
            said = ear(rng, truth, trains, level, day)
            weeks.answers.append(
                Answer(
                    item=str(len(weeks.answers)),
                    paths=said,
                    sure=0.8,
                    truth=truth,
                    focus=truth,
                    time=f"2026-05-{day + 1:02d}T10:00:00+00:00",
                    seconds=20.0,
                    drill=PRACTICE,
                    trains=trains,
                    level_db=level,
                    seed=len(weeks.answers),
                )
            )
        weeks.intake_db.append(level_db("intake-valve", weeks.answers))
    return weeks


def main() -> int:
    """Print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    for name, ear in PUPILS.items():
        many = [train(ear, seed) for seed in range(seeds)]
        kinds = sum((w.kinds(2) for w in many), Counter())
        total = sum(kinds.values())
        told = ", ".join(f"{k} {100 * n / total:.0f} %" for k, n in kinds.most_common())
        stage = [sum(set(w.pools[d]) <= set(s) for s in STAGES) for w in many for d in (len(w.pools) - 1,)]
        at = [float(np.mean([w.intake_db[d] for w in many])) for d in (0, 6, 13, 20, 27)]
        jump = max(abs(b - a) for w in many for a, b in _steps(w.answers))
        sound = [sum(t == "none" for t in p) / len(p) for w in many for p in w.pools[2:]]
        print(f"{name:<11} advice from the third day: {told}")
        print(f"            intake staircase after day 1, 7, 14, 21, 28: {', '.join(f'{x:+.1f}' for x in at)} dB")
        print(
            f"            largest step {jump:.1f} dB; "
            f"sound cylinders {100 * np.mean(sound):.0f} %; all paths open {stage.count(1)}"
        )
    return 0


def _steps(answers: list[Answer]) -> list[tuple[float, float]]:
    steps = []
    for trains in {a.trains for a in answers}:
        levels = [a.level_db or 0.0 for a in answers if a.trains == trains]
        steps += list(pairwise(levels))
    return steps


if __name__ == "__main__":
    sys.exit(main())
