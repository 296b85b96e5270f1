"""Which level comes next: three right, go down; one wrong, go up (Levitt 1971), in steps that shrink at reversals.

Down to the first mistake one right answer is enough: the start is far above threshold. Steps were chosen by simulation
(thresholds -18 to +2 dB, spreads 1.3 and 2.5 dB): 40 trials give a standard deviation of about 1.5 dB.
"""

from __future__ import annotations

from listen.lab.ear.psychometric import Threshold, Trial, fit

START_DB = 6.0
"""Plainly audible to begin with."""
STEPS_DB = (6.0, 6.0, 4.0, 3.0, 2.0)
"""Step after so many reversals; the last stays."""
RIGHT_TO_GO_DOWN = 3
RANGE_DB = (-34.0, 18.0)
TRIALS = 40
"""Length of a run, about five minutes."""


class Staircase:
    """One run (a builder: ask ``level_db``, tell ``answer``, until ``done``)."""

    def __init__(self) -> None:
        self._level = START_DB
        self._streak = 0
        self._direction = 0
        self._missed = False
        self._reversals = 0
        self._trials: list[Trial] = []

    @property
    def level_db(self) -> float:
        """Hiss of the next trial, dB about the background."""
        return self._level

    @property
    def trials(self) -> tuple[Trial, ...]:
        """Those answered."""
        return tuple(self._trials)

    @property
    def done(self) -> bool:
        """Whether the run is over."""
        return len(self._trials) >= TRIALS

    def answer(self, right: bool) -> None:
        """Take an answer and move."""
        self._trials.append(Trial(self._level, right))
        self._streak = self._streak + 1 if right else 0
        if not right:
            self._missed = True
            self._move(1)
        elif not self._missed or self._streak >= RIGHT_TO_GO_DOWN:
            self._streak = 0
            self._move(-1)

    def _move(self, direction: int) -> None:
        if self._direction and direction != self._direction:
            self._reversals += 1
        self._direction = direction
        step = STEPS_DB[min(self._reversals, len(STEPS_DB) - 1)]
        self._level = min(max(self._level + direction * step, RANGE_DB[0]), RANGE_DB[1])

    def result(self) -> Threshold:
        """The threshold from all trials so far."""
        return fit(self._trials, self._reversals)
