"""Answers, thresholds and the class table as CSV (RFC 4180), for a spreadsheet: a row a column of each file."""

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TextIO, TypeVar

from listen.lab.ear.threshold import Measured, thresholds_of
from listen.lab.learners import Learner
from listen.lab.training.book import Answer
from listen.lab.training.instructor import LearnerRow, class_table
from listen.lab.training.session import answers_of
from listen.voice.text import cell

T = TypeVar("T")
Columns = Mapping[str, Callable[[T], object]]
_RIGHT = {True: "yes", False: "no", None: ""}


def _called(paths: Sequence[str]) -> str:
    return "+".join(paths) or "cannot tell"


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.1f}"


ANSWERS: Columns[tuple[Learner, Answer]] = {
    "learner": lambda x: cell(x[0].name),
    "time": lambda x: x[1].time,
    "drill": lambda x: cell(x[1].drill),
    "level": lambda x: x[1].level,
    "session": lambda x: x[1].session,
    "round": lambda x: x[1].item,
    "called": lambda x: _called(x[1].paths),
    "sure": lambda x: f"{x[1].sure:.2f}" if x[1].paths else "",
    "truth": lambda x: "+".join(x[1].truth),
    "right": lambda x: _RIGHT[x[1].right],
    "focus": lambda x: ";".join(x[1].focus),
    "seconds": lambda x: f"{x[1].seconds:.1f}",
    "then": lambda x: "" if x[1].then is None else _called(x[1].then),
    "hiss_db": lambda x: x[1].level_db,
    "seed": lambda x: x[1].seed,
}
CLASS: Columns[LearnerRow] = {
    "learner": lambda row: cell(row.learner.name),
    "rounds": lambda row: row.score.total,
    "right_percent": lambda row: _percent(row.score.right.value),
    "low95_percent": lambda row: _percent(row.score.right.low95 if row.score.right.of else None),
    "high95_percent": lambda row: _percent(row.score.right.high95 if row.score.right.of else None),
    "surer_than_right_percent": lambda row: _percent(row.score.overconfidence),
    "loses_by": lambda row: "file changed" if row.trouble else row.habit or "".join(row.weakest[:1]),
    "false_calls_percent": lambda row: _percent(row.score.false_calls.value),
    "threshold_db": lambda row: (
        run.threshold.threshold_db if (run := row.threshold) and not run.threshold.within else None
    ),
    "threshold_background": lambda row: cell(row.threshold.background) if row.threshold else "",
    "last_day": lambda row: row.last[:10],
}
THRESHOLDS: Columns[tuple[Learner, Measured]] = {
    "learner": lambda x: cell(x[0].name),
    "time": lambda x: x[1].time,
    "background": lambda x: cell(x[1].background),
    "threshold_db": lambda x: x[1].threshold.threshold_db,
    "low95_db": lambda x: x[1].threshold.low95_db,
    "high95_db": lambda x: x[1].threshold.high95_db,
    "trials": lambda x: x[1].threshold.trials,
    "meter_same_db": lambda x: x[1].meter_same_db,
    "meter_walk_db": lambda x: x[1].meter_walk_db,
}


def write_answers(root: Path, learners: Sequence[Learner], out: TextIO) -> int:
    """Write a row an answer, paths joined by ``+``; gives the number of rows."""
    return _write(out, ANSWERS, ((who, a) for who in learners for a in answers_of(root, who)))


def write_thresholds(root: Path, learners: Sequence[Learner], out: TextIO) -> int:
    return _write(out, THRESHOLDS, ((who, run) for who in learners for run in thresholds_of(root, who)))


def write_class(root: Path, out: TextIO) -> int:
    return _write(out, CLASS, class_table(root))


def _write(out: TextIO, columns: Columns[T], things: Iterable[T]) -> int:
    table = csv.writer(out)
    table.writerow(columns)
    rows = [[value(thing) for value in columns.values()] for thing in things]
    table.writerows(rows)
    return len(rows)
