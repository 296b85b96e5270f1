"""The instructor's view: one row a learner, and what the class finds hardest, as figures and as lines of text."""

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import msgspec

from listen.errors import LabError
from listen.lab.ear.adaptive import Threshold
from listen.lab.ear.threshold import Measured, thresholds_of
from listen.lab.learners import Learner, list_learners
from listen.lab.training.next_drill import ALL, name, profile
from listen.lab.training.scoring import Score, level_db, score, weakest
from listen.lab.training.session import answers_of, sessions_of, unfinished
from listen.rate import Rate
from listen.voice.figures import UNKNOWN, counted, decibels, number, share, share_interval
from listen.voice.names import path as path_name
from listen.voice.text import plain
from listen.voice.times import day

HABITS = ("guesses", "over-calls", "shy")


class LearnerRow(msgspec.Struct, frozen=True, kw_only=True):
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
    thresholds: dict[str, tuple[Measured, ...]] = {}
    """All runs by background, oldest first: the threshold over time."""


def learner_row(root: Path, learner: Learner) -> LearnerRow:
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
    rows = []
    for learner in list_learners(root):
        try:
            rows.append(learner_row(root, learner))
        except LabError as error:
            rows.append(LearnerRow(learner=learner, score=score(()), trouble=str(error)))
    return tuple(rows)


def class_focus(root: Path) -> dict[str, Rate]:
    """What the class as a whole gets right, by what rounds train, worst first."""
    whole = [row.learner for row in class_table(root) if not row.trouble]
    rates = score([a for learner in whole for a in answers_of(root, learner)]).focus
    return dict(sorted(rates.items(), key=lambda item: (item[1].value or 0.0, item[0])))


SURE_SD = 1.96
"""Standard deviations on each side of a 95 % interval."""
OUTSIDE = {
    "above": "not found (not told from guessing even at the loudest)",
    "below": "not found (right even at the faintest)",
}


def rate_words(rate: Rate) -> str:
    if rate.value is None:
        return "none yet"
    return f"{rate.hits} of {rate.of} ({share_interval((rate.low95, rate.high95))})"


def threshold_words(measured: Measured) -> str:
    t = measured.threshold
    words = OUTSIDE.get(t.within) or decibels(t.threshold_db)
    words += f" about {measured.background}"
    if not t.within:
        words += f" ({number(t.low95_db, sign=True)} to {number(t.high95_db, sign=True)})"
    if measured.headphones is False:
        words += " (the headphone check was failed: take it with care)"
    if measured.meter_same_db is not None:
        words += f"; the meter on the same clips {decibels(measured.meter_same_db)}"
    if measured.meter_walk_db is not None:
        words += f", on an ordinary walk {decibels(measured.meter_walk_db)}"
    return words


def since_words(runs: Sequence[Measured]) -> str:
    if len(runs) < 2:
        return ""
    first, last = runs[0].threshold, runs[-1].threshold
    if first.within or last.within:
        return f"; {len(runs)} runs, the first on {day(runs[0].time)}"
    both = math.hypot(_sd_db(first), _sd_db(last))
    moved = f"{decibels(last.threshold_db - first.threshold_db)} ± {number(SURE_SD * both)}"
    return f"; {moved} since {day(runs[0].time)}, {len(runs)} runs"


def _sd_db(t: Threshold) -> float:
    """Standard deviation; from the interval in runs of older versions."""
    return t.sd_db or (t.high95_db - t.low95_db) / (2.0 * SURE_SD)


def sureness_words(scored: Score) -> str:
    if scored.brier is None or scored.overconfidence is None:
        return "nothing named yet"
    lean = "surer than right" if scored.overconfidence > 0.05 else "less sure than right"
    lean = "as sure as right" if abs(scored.overconfidence) <= 0.05 else lean
    by = number(100 * scored.overconfidence, 0, sign=True)
    return f"Brier {scored.brier:.3f} (0 best, 0.25 for always one half); {lean} ({by} %)"


def score_lines(row: LearnerRow) -> Iterator[str]:
    s = row.score
    done = f"{counted(row.sessions, 'session')}, {counted(s.total, 'round')} called"
    yield f"{row.learner.name}: {done}, {counted(s.cannot_tell, 'time')} cannot tell"
    yield from _call_lines(row)
    for runs in row.thresholds.values():
        yield f"  ear threshold            {threshold_words(runs[-1])}{since_words(runs)}"


def _call_lines(row: LearnerRow) -> Iterator[str]:
    s = row.score
    if not s.total:
        return
    yield f"  right of those named     {rate_words(s.right)}"
    for path, rate in s.hit_rates.items():
        yield f"  {path_name(path):<24} {rate_words(rate)}"
    yield f"  leak called on sound     {rate_words(s.false_calls)}"
    yield f"  confidence               {sureness_words(s)}"
    for tag, rate in s.focus.items():
        if tag not in s.hit_rates:
            yield f"  {tag:<24} {rate_words(rate)}"
    yield f"  with loss and bubbles    {rate_words(s.with_readings)}"
    if row.left:
        yield f"  left unanswered          {row.left} fresh round{'s' if row.left != 1 else ''}"
    for trains, level in row.levels_db.items():
        yield f"  {f'now at: {name(trains)}':<24} {decibels(level)} about the shop"
    if row.habit:
        yield f"  habit                    {row.habit}"
    if row.weakest:
        yield f"  weakest                  {', '.join(row.weakest)}"


CLASS_HEAD = f"{'learner':<14}{'right of named':>15}{'sureness':>9}  {'loses by':<14}{'threshold':>10}  last day"
SHORT_HEAD = f"{'learner':<14}{'right of named':>15}  last day"
ROW = len(CLASS_HEAD) + len("2026-11-27") - len("last day")
"""Columns of a learner's one line."""


def class_row(row: LearnerRow, columns: int = ROW) -> tuple[str, ...]:
    """One learner: share right, lean of the sureness, what they lose by, ear, last day; on two lines where one line
    has no room."""
    s = row.score
    right = "none yet" if s.right.value is None else f"{share(s.right.value)} of {s.right.of}"
    lean = UNKNOWN if s.overconfidence is None else f"{number(100 * s.overconfidence, 0, sign=True)} %"
    weakest = row.habit or (row.weakest[0] if row.weakest else UNKNOWN)
    t = row.threshold.threshold if row.threshold else None
    ear = UNKNOWN if t is None else "outside" if t.within else decibels(t.threshold_db)
    who, last = plain(row.learner.name, 13), day(row.last) if row.last else UNKNOWN
    if row.trouble:
        return (f"{who:<14} a file was changed or is damaged: hissway lab score says which",)
    if columns >= ROW:
        return (f"{who:<14}{right:>15}{lean:>9}  {plain(weakest, 13):<14}{ear:>10}  {last}",)
    more = (("sureness", lean), ("threshold", ear), ("loses by", plain(weakest, 24)))
    told = ", ".join(f"{name} {value}" for name, value in more if value != UNKNOWN)
    return (f"{who:<14}{right:>15}  {last}", *([f"  {told}"] if told else []))


def class_lines(focus: Mapping[str, Rate]) -> Iterator[str]:
    """What a class gets right, as :func:`listen.lab.training.instructor.class_focus` has it."""
    if focus:
        yield "all learners, hardest first"
    for tag, rate in focus.items():
        yield f"  {tag:<24} {rate_words(rate)}"
