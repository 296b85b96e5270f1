"""What a round's screen shows, made from the job and what is under way, without a screen."""

from __future__ import annotations

import cProfile
import pstats
from pathlib import Path

import msgspec
import pytest
from bay import FOUR_POINTS
from fakes import result_for

from listen.jobs import events as ev
from listen.jobs.folder.store import create_job
from listen.jobs.job import Job
from listen.jobs.walk import Wish
from listen.jobs.ways import WAYS
from listen.judge.result import PathResult
from listen.trade.engine import layout
from listen.trade.points import PathId
from listen.voice.names import path as path_name
from tui.bridge.preferences import Preferences
from tui.screens.figures import was_meant
from tui.screens.round import words
from tui.screens.round.asking import left_out
from tui.screens.round.now import Now, Outcome
from tui.screens.round.view import Answers, Cautions, Microphone, View, view
from tui.widgets.ladder import Mark, Standing

ROUND = "c1-aa"
UNTIL_QUIET: tuple[ev.Payload, ...] = (
    ev.WayChosen(way="walks"),
    ev.RoundOpened(round_id=ROUND, cylinder=1),
    ev.CautionAcknowledged(caution="set-up", round_id=ROUND),
    ev.ReadingEntered(reading="supply", value=550, unit="kPa", si=550, round_id=ROUND),
    ev.ReadingEntered(reading="loss", value=27, unit="percent", si=27, cylinder=1, round_id=ROUND),
)


def clip(n: int, point: str, walk: str) -> ev.ClipKept:
    kind = "air" if walk == "air" else "quiet"
    more = {"take": 1, "sha256": "0" * 64, "seconds": 1.0, "rate_hz": 48_000}
    return ev.ClipKept(clip=f"{n:012x}", round_id=ROUND, point=point, clip_kind=kind, walk=walk, **more)


QUIET = tuple(clip(i, p, "quiet") for i, p in enumerate(("intake", "tailpipe", "oil-filler", "radiator")))


def job(tmp_path: Path, *payloads: ev.Payload) -> Job:
    with create_job(tmp_path, title="t", engine=FOUR_POINTS) as opened:
        return opened.append(*payloads)


def seen(of: Job, now: Now | None = None, lines: int = 24) -> View:
    return view(of, ROUND, now or Now(), Preferences(), lines)


def test_each_step_has_its_panel_and_only_keys_that_do_something(tmp_path: Path) -> None:
    at = [seen(job(tmp_path / str(n), *UNTIL_QUIET[: n + 2])) for n in range(4)]
    assert [type(v.panel) for v in at] == [Cautions, Microphone, Microphone, Microphone]
    assert [v.step.kind for v in at] == ["caution", "supply", "loss", "clip"]
    assert "go('caution')" in at[0].keys and "skip" not in at[0].keys
    assert {"go('supply')", "skip", "back"} <= at[1].keys and "go('loss')" in at[2].keys
    assert not {"other_point", "hands_free", "take_back"} & at[1].keys, "no clip is due or there"
    assert {"go('clip')", "skip", "other_point", "hands_free", "show('times')", "bring_in"} <= at[3].keys
    assert not {"take_back", "evidence", "verdict"} & at[3].keys, "no clip yet, nothing to look at"
    called = seen(job(tmp_path / "call", *UNTIL_QUIET, *QUIET))
    assert isinstance(called.panel, Answers) and called.panel.sure and called.step.kind == "call"


def test_what_is_announced_is_what_is_recorded(tmp_path: Path) -> None:
    """While a clip or a led walk is under way neither an aim nor a new due step changes the point shown."""
    before = job(tmp_path, *UNTIL_QUIET)
    step = seen(before).step
    under_way = Now(taking=step, led=True, plan=(Wish("radiator"),))
    after = seen(job(tmp_path / "later", *UNTIL_QUIET, QUIET[0]), under_way)
    assert after.step is step and "intake" in after.say.step
    assert [r.marks[0] for r in after.point_rows][:2] == [Mark.NEXT, Mark.DUE]
    assert not {"other_point", "skip", "evidence"} & after.keys and after.keys == {"go('there')", "stop"}


def test_a_point_chosen_out_of_turn_is_said_to_be(tmp_path: Path) -> None:
    chosen = seen(job(tmp_path, *UNTIL_QUIET), Now(plan=(Wish("radiator"),)))
    assert chosen.step.point == "radiator" and chosen.step.walk == "quiet"
    assert "Chosen out of turn; Esc goes back to intake." in chosen.say.more


def test_numbers_wait_for_the_call(tmp_path: Path) -> None:
    quiet = (*UNTIL_QUIET, *QUIET)
    hidden = seen(job(tmp_path, *quiet))
    assert hidden.hush == "shown after your call by ear"
    assert {r.standing for r in hidden.point_rows} <= {Standing.WAITING, Standing.HIDDEN}
    called = job(tmp_path / "c", *quiet, ev.ByEarCalled(round_id=ROUND, declined=True), clip(9, "intake", "air"))
    shown = seen(called, Now(excess={"intake": 4.2}))
    assert shown.point_rows[0].excess_db == 4.2 and shown.point_rows[0].standing is Standing.SO_FAR


def test_a_refusal_and_a_check_beside_the_next_take_are_both_seen(tmp_path: Path) -> None:
    now = Now(checking=(("0", "intake", "quiet"),), outcome=Outcome(False, "12 samples are clipped."))
    shown = seen(job(tmp_path, *UNTIL_QUIET, QUIET[0]), now)
    assert [r.marks[0] for r in shown.point_rows][:2] == [Mark.CHECKING, Mark.NEXT]
    assert shown.say.outcome == "× Again, because: 12 samples are clipped." and shown.say.tone == "again"


def test_a_skip_is_undone_by_recording_there_and_leaves_out_what_rests_on_it(tmp_path: Path) -> None:
    skip = left_out(seen(job(tmp_path, *UNTIL_QUIET)).step, ROUND, "hose in the way")
    skipped = job(tmp_path / "s", *UNTIL_QUIET, skip)
    states = {(s.point, s.walk): s.state for s in seen(skipped).walk.steps if s.kind == "clip"}
    assert [states["intake", w] for w in ("quiet", "air", "closing")] == ["left-out"] * 3
    again = job(tmp_path / "a", *UNTIL_QUIET, skip, QUIET[0])
    states = {(s.point, s.walk): s.state for s in seen(again).walk.steps if s.kind == "clip"}
    assert [states["intake", w] for w in ("quiet", "air", "closing")] == ["done", "due", "due"]
    assert not again.round(ROUND).skips


def test_the_rest_of_a_walk_left_out_leaves_out_the_air_there(tmp_path: Path) -> None:
    rest = ev.StepPassed(round_id=ROUND, step="quiet", reason="walk left out")
    left = job(tmp_path, *UNTIL_QUIET, QUIET[0], rest)
    due = {(s.point, s.walk) for s in seen(left).walk.steps if s.kind == "clip" and s.state == "due"}
    assert due == {("intake", "air"), ("intake", "closing")}
    taken_up = job(tmp_path / "u", *UNTIL_QUIET, QUIET[0], rest, ev.StepPassed(round_id=ROUND, step="quiet", reason=""))
    assert ("tailpipe", "quiet") in {(s.point, s.walk) for s in seen(taken_up).walk.steps if s.state == "due"}


def test_yes_to_a_doubt_takes_what_was_suggested(tmp_path: Path) -> None:
    from listen.jobs.answers import typed

    here = job(tmp_path, *UNTIL_QUIET[:4])
    event, questions = typed("loss", "0.08", here, 1, ROUND)
    meant, answers = was_meant(questions, "0.08")
    assert meant == "8" and answers[0] == ("y", "yes, 8 was meant")
    assert answers[1] == ("k", "keep 0.08 as typed") and event.confirmed == ("loss-fraction",)


@pytest.mark.parametrize(("text", "mm", "unit"), [("1,0", 1.0, "mm"), ("0.040 in", 1.016, "in"), ('.04"', 1.016, "in")])
def test_a_restrictor_is_read_in_millimetres_and_inches(tmp_path: Path, text: str, mm: float, unit: str) -> None:
    from listen.jobs.answers import typed

    event, questions = typed("restrictor", text, job(tmp_path, *UNTIL_QUIET), 1, ROUND)
    assert (event.si, event.unit, event.cylinder) == (pytest.approx(mm), unit, None) and not questions


def test_a_change_is_worked_out_once_and_cheaply(tmp_path: Path) -> None:
    """A skip on a V8 used to call 25,000 functions; the whole view now takes about 1,000."""
    with create_job(tmp_path, title="t", engine=layout("v8")) as opened:
        there = opened.append(*UNTIL_QUIET)
    seen(there)
    profile = cProfile.Profile()
    profile.runcall(seen, there, Now())
    assert pstats.Stats(profile).total_calls < 2_000


def test_the_first_clip_of_a_job_asks_for_the_microphone_check(tmp_path: Path) -> None:
    """Asked once: not where it was checked; after the first clip it is only said."""
    asks = "m checks it"
    assert asks in seen(job(tmp_path / "new", *UNTIL_QUIET)).say.more
    checked = ev.MicrophoneChecked(device="x", rate_hz=48_000, verdict="good", text="good")
    assert asks not in seen(job(tmp_path / "checked", *UNTIL_QUIET, checked)).say.more
    begun = seen(job(tmp_path / "begun", *UNTIL_QUIET, QUIET[0])).say.more
    assert asks not in begun and begun.startswith("! Microphone not checked: m.")


LEAST_COLUMNS = 80 - 2
"""Of the narrowest screen, without its edges."""


def test_what_stands_where_the_count_will_be_is_cut_on_no_screen(tmp_path: Path) -> None:
    """Every way of taking rounds before its first clip and after the last, with the longest names of paths."""
    names = sorted(PathId, key=lambda p: -len(path_name(p)))
    paths = tuple(PathResult(path=p, probability=0.3, evidence_db={}, involved=0.999) for p in names)
    result = msgspec.structs.replace(result_for(["intake"]), paths=paths)
    judged = ev.Judged(round_id=ROUND, result=result, clips=tuple(q.clip for q in QUIET))
    left = [ev.StepPassed(round_id=ROUND, step=s, reason="no time") for s in ("air", "closing", "bubbles", "call")]
    done = job(tmp_path / "done", *UNTIL_QUIET, *QUIET, *left, judged)
    ways = [job(tmp_path / way, ev.WayChosen(way=way), *UNTIL_QUIET[1:]) for way in WAYS]
    shown = [words.idle(j, j.round(ROUND), seen(j).step, Now(), Preferences()) for j in (done, *ways)]
    assert [len(lines) for lines in shown] == [3] * 5 and seen(done).step.kind == "done"
    assert max(len(line) for lines in shown for line in lines) <= LEAST_COLUMNS
