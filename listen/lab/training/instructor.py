"""The instructor's view: one row a learner, and what the class finds hardest."""

from pathlib import Path

import msgspec

from listen.errors import LabError
from listen.lab.ear.threshold import Measured, thresholds_of
from listen.lab.learners import Learner, list_learners
from listen.lab.training.next_drill import ALL, profile
from listen.lab.training.scoring import Score, score, weakest
from listen.lab.training.session import answers_of, sessions_of, unfinished
from listen.lab.training.staircase import level_db
from listen.rate import Rate

HABITS = ("guesses", "over-calls", "shy")


class LearnerRow(msgspec.Struct, frozen=True, kw_only=True):
    """How one learner stands."""

    learner: Learner
    trouble: str = ""
    """Why nothing is known of them: a file was changed or is damaged."""
    sessions: int = 0
    unfinished: int = 0
    last: str = ""
    """Time of the last answer, empty where there is none."""
    score: Score
    left: int = 0
    """Fresh rounds met and left without an answer."""
    weakest: tuple[str, ...] = ()
    habit: str = ""
    """``guesses``, ``over-calls`` or ``shy``, where the last answers show it."""
    levels_db: dict[str, float] = {}
    """Where each staircase met so far stands."""
    threshold: Measured | None = None
    """Latest ear threshold."""
    thresholds: dict[str, tuple[Measured, ...]] = {}
    """All runs by background, oldest first: the threshold over time."""


def learner_row(root: Path, learner: Learner) -> LearnerRow:
    """How one learner stands."""
    answers, sittings, runs = answers_of(root, learner), sessions_of(root, learner), thresholds_of(root, learner)
    scored = score(answers)
    return LearnerRow(
        learner=learner,
        sessions=len(sittings),
        unfinished=len(unfinished(root, learner)),
        last=answers[-1].time if answers else "",
        score=scored,
        left=sum(s.left for s in sittings),
        weakest=weakest(scored),
        habit=how if (how := profile(answers).kind) in HABITS else "",
        levels_db={t: level_db(t, answers) for t in ALL if any(a.trains == t for a in answers)},
        threshold=runs[-1] if runs else None,
        thresholds={
            name: tuple(m for m in runs if m.background == name) for name in sorted({m.background for m in runs})
        },
    )


def last_here(root: Path) -> Learner | None:
    """Who answered, was measured or was taken in last; None where nobody learns here."""

    def last(learner: Learner) -> tuple[str, bool]:
        """When, to the second; within one, who did something comes after who was only taken in."""
        try:
            done = [a.time for a in answers_of(root, learner)[-1:]]
            done += [m.time for m in thresholds_of(root, learner)[-1:]]
        except LabError:  # told once this learner is chosen; the others are not kept from their desk by it
            done = []
        return max([learner.created, *done]), bool(done)

    return max(list_learners(root), key=last, default=None)


def class_table(root: Path) -> tuple[LearnerRow, ...]:
    """All learners by name; whose files were changed has a row that says so."""
    return tuple(_row_or_trouble(root, learner) for learner in list_learners(root))


def _row_or_trouble(root: Path, learner: Learner) -> LearnerRow:
    try:
        return learner_row(root, learner)
    except LabError as error:
        return LearnerRow(learner=learner, score=score(()), trouble=str(error))


def class_focus(root: Path) -> dict[str, Rate]:
    """What the class as a whole gets right, by what rounds train, worst first."""
    whole = [row.learner for row in class_table(root) if not row.trouble]
    rates = score([a for learner in whole for a in answers_of(root, learner)]).focus
    return dict(sorted(rates.items(), key=lambda item: (item[1].value or 0.0, item[0])))
