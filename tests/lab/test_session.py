"""A sitting: blind, shuffled by its seed, on disk before the truth is shown, resumable after a kill."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from listen.errors import LabError
from listen.lab.learners import Learner, create_learner
from listen.lab.training import session
from listen.lab.training.book import Answer, Call
from listen.lab.training.drills import DrillSet, OpenDrill, shipped_drills
from listen.lab.training.session import (
    Session,
    answers_of,
    practise,
    resume,
    sessions_dir,
    sessions_of,
    start,
    unfinished,
)


@pytest.fixture
def ada(lab: Path) -> Learner:
    return create_learner(lab, "Ada")


@pytest.fixture
def drill() -> DrillSet:
    return shipped_drills()[0]


def said(sitting: Session, call: Call, then: Call | None = None) -> Answer:
    """A call by ear, and what is thought with the readings."""
    sitting.call(call)
    return sitting.answer(then)


def test_a_whole_drill_from_first_to_last(lab: Path, ada: Learner, drill: DrillSet) -> None:
    """Every round once; readings after the call by ear; what is revealed is the truth and what gave it away."""
    session = start(lab, ada, drill, seed=3)
    seen = []
    while not session.done:
        held = session.held
        assert session.number == len(seen) + 1 and session.opened.total == drill.rounds and session.facts is None
        assert len(held.pair(held.points[0])) == 2
        with pytest.raises(LabError, match="by ear first"):
            session.answer()
        facts = session.call(Call(paths=("intake-valve",), sure=0.6))
        assert facts.loss_percent is not None and session.facts == facts
        with pytest.raises(LabError, match="by ear already"):
            session.call(Call())
        reveal = session.answer(Call(paths=("rings",), sure=0.5))
        assert reveal.right is ("intake-valve" in reveal.truth) and reveal.right_then is ("rings" in reveal.truth)
        assert held.gave_away
        seen.append(reveal.truth)
    assert sorted(seen) == sorted(h.truth for h in map(OpenDrill(drill, lab).held, OpenDrill(drill, lab).ids))
    assert [(a.paths, a.then, a.sure) for a in answers_of(lab, ada)] == [(("intake-valve",), ("rings",), 0.6)] * 5
    assert unfinished(lab, ada) == ()
    with pytest.raises(LabError, match="done"):
        session.call(Call())


def test_a_fresh_round_that_is_left_is_not_met_again(lab: Path, ada: Learner) -> None:
    """Its truth was nowhere but in memory: another is drawn, and that one was left is counted."""
    first = practise(lab, ada, ("rings", "none"), "fresh", 2)
    said(first, Call(paths=("rings",), sure=0.9))
    first.call(Call(paths=("none",), sure=0.9))  # readings seen, truth not: nothing to be gained
    assert unfinished(lab, ada) == () and len(answers_of(lab, ada)) == 1
    (info,) = sessions_of(lab, ada)
    assert (len(info.answers), info.opened.total, info.left) == (1, 2, 1)
    with pytest.raises(LabError, match="no unfinished session"):
        resume(lab, ada, info.opened.session)


def test_the_seed_decides_the_order(lab: Path, ada: Learner) -> None:
    """The same seed gives the same order; other seeds differ; no name of a round stands in the file."""
    trap = shipped_drills()[2]
    orders = []
    for seed in (1, 1, 2, 3):
        session = start(lab, ada, trap, seed=seed)
        orders.append((session.held.truth, *session.order))
        file = next(sessions_dir(lab, ada).glob(f"{session.opened.session}*")).read_text()
        assert not [i for i in session.order if i in file]
    assert orders[0] == orders[1]
    assert len(set(orders)) == 3


def test_a_sitting_is_taken_up_where_it_was_left(lab: Path, ada: Learner, drill: DrillSet) -> None:
    """Same order, answers kept, by drill or by session."""
    first = start(lab, ada, drill, seed=9)
    said(first, Call(paths=("rings",), sure=0.7))
    said(first, Call())
    first.call(Call(paths=("none",), sure=0.8))
    (left,) = unfinished(lab, ada)
    assert (len(left.answers), left.opened.total, left.opened.title) == (2, drill.rounds, drill.title)
    for name in (drill.id, left.opened.session):
        again = resume(lab, ada, name)
        assert again.number == 3 and again.order == first.order
        assert again.called and (again.called.paths, again.called.sure) == (("none",), 0.8), "called by ear already"
    with pytest.raises(LabError, match="no unfinished session"):
        resume(lab, ada, "trap")


KILLED = """
import os, sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from listen.lab.training import session
from listen.lab.training.book import Call
from listen.lab.training.drills import shipped_drills
from listen.lab.learners import find_learner
from listen.lab.training.session import start
root = Path(sys.argv[1])
session = start(root, find_learner(root, "Ada"), shipped_drills()[0], seed=5)
session.call(Call(paths=("rings",), sure=0.9))
session.answer()
print("answered", flush=True)
sys.stdin.read()
"""


def test_an_answer_survives_a_kill(lab: Path, ada: Learner) -> None:
    """Power off right after the answer: it counts, and the drill goes on with the next round."""
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(KILLED), str(lab)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "answered\n"
    process.send_signal(signal.SIGKILL)
    process.communicate()
    session = resume(lab, ada, "beginner")
    assert session.number == 2 and session.answers[0].paths == ("rings",)


def test_a_torn_last_line_costs_nothing_else(lab: Path, ada: Learner, drill: DrillSet) -> None:
    """A kill in the middle of writing: the half line is dropped, the next answer stands whole."""
    session = start(lab, ada, drill, seed=5)
    said(session, Call(paths=("rings",), sure=0.9))
    path = next(sessions_dir(lab, ada).glob("*.jsonl"))
    with path.open("ab") as file:
        file.write(b'{"record":{"type":"met')
    again = resume(lab, ada, drill.id)
    assert again.number == 2
    said(again, Call())
    assert [a.paths for a in answers_of(lab, ada)] == [("rings",), ()]


def test_a_damaged_line_in_the_middle_is_told(lab: Path, ada: Learner, drill: DrillSet) -> None:
    """Not skipped in silence: scores would lie."""
    said(start(lab, ada, drill, seed=5), Call())
    path = next(sessions_dir(lab, ada).glob("*.jsonl"))
    path.write_bytes(path.read_bytes() + b"rubbish\n")
    with pytest.raises(LabError, match="line 5 is damaged"):
        sessions_of(lab, ada)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (Call(paths=("piston",)), "not an escape path"),
        (Call(paths=("rings", "rings"), sure=0.5), "two different"),
        (Call(paths=("rings", "intake-valve", "fitting"), sure=0.5), "two different"),
        (Call(paths=("none", "rings"), sure=0.5), "sound and a leak"),
        (Call(paths=("rings",), sure=1.2), "from 0 to 1"),
    ],
)
def test_what_cannot_be_called_is_refused_and_not_kept(
    lab: Path, ada: Learner, drill: DrillSet, call: Call, said: str
) -> None:
    """The round stays open."""
    session = start(lab, ada, drill, seed=5)
    with pytest.raises(LabError, match=said):
        session.call(call)
    assert session.number == 1 and answers_of(lab, ada) == ()


def test_the_time_of_an_answer_runs_from_when_its_round_was_met(
    lab: Path, ada: Learner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looking at the round again, as a screen does at every phase, does not start its clock anew."""
    sitting = start(lab, ada, shipped_drills()[0], seed=1)
    clock = [datetime(2026, 1, 5, 9, tzinfo=UTC)]
    monkeypatch.setattr(session, "_now", lambda: clock[0])
    for taken_s in (5.0, 3.0):
        for wait_s in (0.0, taken_s - 1.0, 1.0):
            clock[0] += timedelta(seconds=wait_s)
            assert sitting.held.points
        said(sitting, Call())
        assert sitting.answers[-1].seconds == taken_s
        clock[0] += timedelta(seconds=60)  # reading what gave it away


@pytest.mark.skipif(sys.platform != "linux", reason="names of open files are read from /proc")
def test_new_names_are_synced_with_what_they_hold(lab: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut takes neither a learner just taken in nor the sitting just begun."""
    synced: set[str] = set()
    real = os.fsync

    def fsync(fd: int) -> None:
        synced.add(str(Path(f"/proc/self/fd/{fd}").readlink()).removesuffix(".tmp"))
        real(fd)

    monkeypatch.setattr(os, "fsync", fsync)
    learner = create_learner(lab, "Ada")
    sitting = start(lab, learner, shipped_drills()[0])
    folder = sessions_dir(lab, learner)
    for path in (lab, lab / "learners", folder.parent, folder, folder / f"{sitting.opened.session}.jsonl"):
        assert str(path) in synced, path
    own = folder.parent  # its file is synced under a name that nobody can guess, then given its own
    assert any(Path(name).parent == own and Path(name) != folder for name in synced)
    assert (own / "learner.json").is_file()
