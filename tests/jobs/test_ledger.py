"""Nothing is hidden by a slip: what was taken back or replaced stays in the ledger, and comes back from there."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.jobs import events as ev
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.ledger import Line, bring_back, ledger, take_back
from listen.jobs.standing import latest_round
from listen.jobs.walk import walked
from listen.trade.engine import layout
from tests.jobs.made import result

ROUND = "c1-aa"


@pytest.fixture
def opened(tmp_path: Path):
    with create_job(tmp_path, title="Baler", engine=layout("inline-4")) as job:
        job.append(ev.WayChosen(way="walks"), ev.RoundOpened(round_id=ROUND, cylinder=1))
        yield job


def clip(n: int, point: str = "intake", walk: str = "quiet", round_id: str = ROUND) -> ev.ClipKept:
    kind = "air" if walk == "air" else "quiet"
    more = {"take": 1, "sha256": "0" * 64, "seconds": 1.0, "rate_hz": 48_000}
    return ev.ClipKept(clip=f"{n:012x}", round_id=round_id, point=point, clip_kind=kind, walk=walk, **more)


def loss(percent: float) -> ev.ReadingEntered:
    return ev.ReadingEntered(reading="loss", value=percent, unit="percent", si=percent, cylinder=1, round_id=ROUND)


def lines(opened: OpenJob, cylinder: int | None = 1) -> list[Line]:
    events = opened.chain.events()
    made = ledger(events, opened.job, cylinder)
    return [line for part in made for line in part.lines]


def of(opened: OpenJob, kind: str) -> list[Line]:
    return [line for line in lines(opened) if line.kind == kind]


def test_a_photo_and_an_answer_taken_back_elsewhere_say_so_and_come_back(opened: OpenJob) -> None:
    """The list of photos and that of facts have events of their own for it; the page knows them, and turns them."""
    photo = ev.PhotoKept(photo="p1", picture=b"x", width=1, height=1, original_sha256="0" * 64, cylinder=1)
    opened.append(photo, ev.PhotoTakenBack(photo="p1", reason="blurred"))
    (line,) = of(opened, "photo-kept")
    assert (line.state, line.why, line.may_come_back) == ("taken-back", "blurred", True)
    again = bring_back(line)
    assert again == ev.PhotoTakenBack(photo="p1", again=True), "as the list of photos writes it"
    opened.append(again)
    (line,) = of(opened, "photo-kept")
    assert line.state == "stands" and not opened.job.photos[0].taken_back
    opened.append(take_back(line, "slip"))
    assert opened.job.photos[0].taken_back
    opened.append(ev.PhotoTakenBack(photo="p1", again=True))
    assert of(opened, "photo-kept")[0].state == "stands"
    opened.append(ev.SymptomNoted(symptom="noise-tick", cylinder=1), ev.AnswerWithdrawn(fact="noise-tick", cylinder=1))
    (line,) = of(opened, "symptom-noted")
    assert line.state == "taken-back" and not opened.job.symptoms_of(1)
    opened.append(bring_back(line))
    (line,) = of(opened, "symptom-noted")
    assert line.state == "stands" and opened.job.symptoms_of(1) == ("noise-tick",)


def test_a_clip_taken_back_comes_back(opened: OpenJob) -> None:
    opened.append(clip(1))
    (line,) = of(opened, "clip-kept")
    assert line.state == "stands" and line.may_be_taken_back and "intake, air off, 1.0 s" in line.words
    opened.append(take_back(line, "door slammed"))
    (line,) = of(opened, "clip-kept")
    assert (line.state, line.why, line.may_come_back) == ("taken-back", "door slammed", True)
    assert not opened.job.round(ROUND).live_clips()
    opened.append(bring_back(line))
    assert [c.id for c in opened.job.round(ROUND).live_clips()] == [clip(1).clip]
    (line,) = of(opened, "clip-kept")
    assert line.state == "stands"
    with open_job(opened.folder, write=False) as read:
        assert read.job == opened.job, "read from disk it is the same"


def test_a_figure_typed_over_another_leaves_a_trace_and_either_comes_back(opened: OpenJob) -> None:
    opened.append(loss(27))
    opened.append(loss(72))
    first, second = of(opened, "reading-entered")
    assert (first.state, second.state) == ("replaced", "stands") and "27 %" in first.words
    opened.append(take_back(second, ""))
    assert opened.job.reading("loss", 1).si == 27
    assert [x.state for x in of(opened, "reading-entered")] == ["stands", "taken-back"]
    opened.append(take_back(of(opened, "reading-entered")[0], ""))
    assert opened.job.reading("loss", 1) is None, "cleared"
    opened.append(bring_back(of(opened, "reading-entered")[0]))
    assert opened.job.reading("loss", 1).si == 27


def test_a_skip_taken_back_is_due_again(opened: OpenJob) -> None:
    opened.append(ev.CautionAcknowledged(caution="set-up", round_id=ROUND))
    opened.append(ev.StepPassed(round_id=ROUND, step="supply", reason="no gauge"))
    opened.append(ev.StepPassed(round_id=ROUND, step="loss", reason="no gauge"))
    opened.append(ev.PointSkipped(round_id=ROUND, point="intake", walk="quiet", reason="hose in the way"))
    assert walked(opened.job, ROUND).due.point == "tailpipe"
    (skip,) = of(opened, "point-skipped")
    assert skip.state == "left-out" and skip.section == "quiet"
    opened.append(take_back(skip, ""))
    assert walked(opened.job, ROUND).due.point == "intake"
    opened.append(bring_back(of(opened, "point-skipped")[0]))
    assert walked(opened.job, ROUND).due.point == "tailpipe"
    opened.append(take_back(of(opened, "step-passed")[0], ""))
    assert walked(opened.job, ROUND).due.id == "supply"


def test_what_a_verdict_rests_on_makes_it_stale_both_ways(opened: OpenJob) -> None:
    opened.append(loss(27), clip(1))
    opened.append(ev.Judged(round_id=ROUND, result=result("path", "intake-valve"), clips=(clip(1).clip,)))
    assert not opened.job.round(ROUND).stale
    opened.append(take_back(of(opened, "reading-entered")[0], ""))
    assert opened.job.round(ROUND).stale
    opened.append(ev.Judged(round_id=ROUND, result=result("path", "intake-valve"), clips=(clip(1).clip,)))
    opened.append(bring_back(of(opened, "reading-entered")[0]))
    assert opened.job.round(ROUND).stale


def test_a_round_set_aside_does_not_count_and_is_not_lost(opened: OpenJob) -> None:
    opened.append(clip(1))
    opened.append(ev.RoundOpened(round_id="c1-bb", cylinder=1))
    opened.append(ev.RoundSetAside(round_id="c1-bb"))
    assert latest_round(opened.job, 1).id == ROUND
    (aside,) = [x for x in lines(opened) if x.kind == "round-set-aside"]
    opened.append(take_back(aside, ""))
    assert not opened.job.round("c1-bb").aside


def test_verdicts_decisions_and_signatures_are_never_withdrawn(opened: OpenJob) -> None:
    opened.append(clip(1))
    opened.append(ev.Signed(round_id=ROUND, name="Bo", role="supervisor", statement="", head=opened.chain.head))
    signed = of(opened, "signed")[0]
    assert not signed.may_be_taken_back
    opened.append(ev.Withdrawn(event=signed.id, kind="signed", round_id=ROUND))
    assert opened.job.round(ROUND).signed, "a journal that says so all the same changes nothing"
    before = len(opened.job.round(ROUND).changes)
    opened.append(take_back(of(opened, "clip-kept")[0], "slip"))
    assert len(opened.job.round(ROUND).changes) == before + 1, "and taking back after signing is told"


def test_intake_is_a_ledger_too(opened: OpenJob) -> None:
    opened.append(ev.JobNamed(title="Green baler"), ev.PersonChosen(role="tech", name="Ada"))
    words = [x.words for x in lines(opened, None)]
    assert "opened as Baler" in words[0] and "title: Green baler" in words and "tech: Ada" in words


def test_steps_that_are_due_are_lines(opened: OpenJob) -> None:
    due = [x for x in lines(opened) if x.state == "due"]
    assert due[0].section == "cautions" and any(x.section == "quiet" and x.words == "clip at the intake" for x in due)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_line_goes_and_comes_back_and_leaves_the_job_as_it_was(tmp_path_factory, data: st.DataObject) -> None:
    """In whatever order lines are taken back and brought back: the same lines stand, the same job."""
    with create_job(tmp_path_factory.mktemp("any"), title="t", engine=layout("inline-4")) as opened:
        opened.append(
            ev.RoundOpened(round_id=ROUND, cylinder=1),
            loss(27),
            clip(1),
            clip(2, "tailpipe"),
            ev.PointSkipped(round_id=ROUND, point="oil-filler", walk="quiet", reason="x"),
            ev.BubblesLooked(round_id=ROUND, seen="no"),
            ev.NoteAdded(text="a note", cylinder=1, round_id=ROUND),
        )
        before = opened.job
        taken: list[str] = []
        for _ in range(data.draw(st.integers(1, 6))):
            able = [x for x in lines(opened) if x.may_be_taken_back]
            if not able:
                break
            line = data.draw(st.sampled_from(able))
            opened.append(take_back(line, ""))
            taken.append(line.id)
        for gone in data.draw(st.permutations(taken)):
            (line,) = [x for x in lines(opened) if x.id == gone]
            assert line.may_come_back
            opened.append(bring_back(line))
        assert _facts(opened) == _facts_of(before)


def _facts(opened: OpenJob) -> object:
    return _facts_of(opened.job)


def _facts_of(job: object) -> object:
    r = job.round(ROUND)  # type: ignore[attr-defined]
    live = [c.id for c in r.live_clips()]
    notes = [n.payload.text for n in job.notes]  # type: ignore[attr-defined]
    return msgspec.json.encode((job.readings, live, r.skips, r.steps_left_out, r.bubbles, notes))  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "payload",
    [
        ev.PointSkipped(round_id="c3-aaaaaa", point="intake", reason="hose in the way"),
        ev.StepPassed(round_id="c3-aaaaaa", step="loss", reason="no gauge"),
    ],
)
def test_a_line_about_a_round_that_never_began_ends_nothing(opened: OpenJob, payload: ev.Payload) -> None:
    """A job made elsewhere may hold one; the page of the job and of each cylinder still opens."""
    events = tuple(opened.chain.events())
    events = (*events, msgspec.structs.replace(events[-1], id="f" * 12, payload=payload))
    assert ledger(events, opened.job, None)
    assert all(line.round_id != "c3-aaaaaa" for part in ledger(events, opened.job, 1) for line in part.lines)
