"""Answers and thresholds as CSV (RFC 4180), for a spreadsheet."""

import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TextIO

from listen.lab.ear.threshold import thresholds_of
from listen.lab.learners import Learner
from listen.lab.training.answers import Answer
from listen.lab.training.instructor import class_table
from listen.lab.training.session import answers_of
from listen.voice.text import cell

ANSWER_COLUMNS = (
    "learner",
    "time",
    "drill",
    "level",
    "session",
    "round",
    "called",
    "sure",
    "truth",
    "right",
    "focus",
    "seconds",
    "then",
    "hiss_db",
    "seed",
)
CLASS_COLUMNS = (
    "learner",
    "rounds",
    "right_percent",
    "low95_percent",
    "high95_percent",
    "surer_than_right_percent",
    "loses_by",
    "false_calls_percent",
    "threshold_db",
    "threshold_background",
    "last_day",
)
THRESHOLD_COLUMNS = (
    "learner",
    "time",
    "background",
    "threshold_db",
    "low95_db",
    "high95_db",
    "trials",
    "meter_same_db",
    "meter_walk_db",
)
_RIGHT = {True: "yes", False: "no", None: ""}


def answer_rows(root: Path, learners: Sequence[Learner]) -> Iterator[tuple[object, ...]]:
    """One row an answer; paths joined by ``+``, "cannot tell" spelt out."""
    for learner in learners:
        for a in answers_of(root, learner):
            called = "+".join(a.paths) or "cannot tell"
            sure = f"{a.sure:.2f}" if a.paths else ""
            head = (cell(learner.name), a.time, cell(a.drill), a.level, a.session, a.item)
            yield (
                *head,
                called,
                sure,
                "+".join(a.truth),
                _RIGHT[a.right],
                ";".join(a.focus),
                f"{a.seconds:.1f}",
                *_after(a),
            )


def _after(a: Answer) -> tuple[object, ...]:
    then = "" if a.then is None else "+".join(a.then) or "cannot tell"
    return then, a.level_db, a.seed


def class_rows(root: Path) -> Iterator[tuple[object, ...]]:
    """One row a learner: what the class table shows."""
    for row in class_table(root):
        s, t = row.score, row.threshold
        rates = (s.right.value, s.right.low95, s.right.high95) if s.right.of else (None, None, None)
        yield (
            cell(row.learner.name),
            s.total,
            *map(_percent, (*rates, s.overconfidence)),
            "file changed" if row.trouble else row.habit or (row.weakest[0] if row.weakest else ""),
            _percent(s.false_calls.value),
            t.threshold.threshold_db if t and not t.threshold.within else None,
            cell(t.background) if t else "",
            row.last[:10],
        )


def _percent(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.1f}"


def threshold_rows(root: Path, learners: Sequence[Learner]) -> Iterator[tuple[object, ...]]:
    """One row a finished run."""
    for learner in learners:
        for m in thresholds_of(root, learner):
            t = m.threshold
            levels = (t.threshold_db, t.low95_db, t.high95_db)
            yield (
                cell(learner.name),
                m.time,
                cell(m.background),
                *levels,
                t.trials,
                m.meter_same_db,
                m.meter_walk_db,
            )


def write_answers(root: Path, learners: Sequence[Learner], out: TextIO) -> int:
    """Write all answers; gives the number of rows."""
    return _write(out, ANSWER_COLUMNS, answer_rows(root, learners))


def write_thresholds(root: Path, learners: Sequence[Learner], out: TextIO) -> int:
    """Write all thresholds; gives the number of rows."""
    return _write(out, THRESHOLD_COLUMNS, threshold_rows(root, learners))


def write_class(root: Path, out: TextIO) -> int:
    """Write the class table; gives the number of rows."""
    return _write(out, CLASS_COLUMNS, class_rows(root))


def _write(out: TextIO, columns: Sequence[str], rows: Iterator[tuple[object, ...]]) -> int:
    table = csv.writer(out)
    table.writerow(columns)
    count = 0
    for row in rows:
        table.writerow(row)
        count += 1
    return count
