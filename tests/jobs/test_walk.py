"""Protects the walk: what comes next follows from the job alone, through skips, take-backs, extra takes, restarts."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from listen.errors import RoundError
from listen.jobs import events as ev
from listen.jobs.fold import fold
from listen.jobs.job import Job
from listen.jobs.reference import DECLINED, reference_cylinders, references, why_no_reference
from listen.jobs.standing import latest_round, standing, waiting
from listen.jobs.to_round import clips_used, facts, to_round
from listen.jobs.walk import SET_UP, Step, round_points, spoiled, walked
from listen.judge.result import Again
from listen.trade.engine import Exhaust, layout
from listen.trade.points import Kind
from tests.jobs.made import PAYLOADS, opened, result
from tui.screens.round.asking import left_out


def after(*payloads: ev.Payload, start: Job | None = None) -> Job:
    """Fold payloads without a disk."""
    count = start.events if start else 0
    said = [
        ev.Event(id=f"e{count + n}", time="2026-01-05T09:00:00Z", actor="Ann", payload=p, line="0" * 64)
        for n, p in enumerate(payloads)
    ]
    return fold(said, start)


def answer(job: Job, step: Step, round_id: str) -> Job:
    """Do what the step asks, as a tech would."""
    n = job.events
    cylinder = job.round(round_id).cylinder
    reading = {"cylinder": cylinder, "round_id": round_id}
    payload: ev.Payload
    match step.kind:
        case "caution":
            payload = ev.CautionAcknowledged(caution=step.id, round_id=round_id)
        case "supply":
            payload = ev.ReadingEntered(reading="supply", value=550, unit="kPa", si=550.0, **reading)
        case "loss":
            payload = ev.ReadingEntered(reading="loss", value=27, unit="percent", si=27.0, **reading)
        case "clip":
            payload = clip(f"k{n}", round_id, step.point, step.clip_kind, step.walk)
        case "way":
            payload = ev.WayChosen(way="walks")
        case "bubbles":
            payload = ev.BubblesLooked(round_id=round_id, seen="no")
        case "call":
            payload = ev.ByEarCalled(round_id=round_id, paths=("intake-valve",), sure=0.7)
        case _:
            payload = ev.Judged(round_id=round_id, result=result(), clips=clips_used(job, round_id))
    return after(payload, start=job)


def clip(clip_id: str, round_id: str, point: str, kind: str, walk: str) -> ev.ClipKept:
    return ev.ClipKept(
        clip=clip_id,
        round_id=round_id,
        point=point,
        clip_kind=kind,
        walk=walk,
        take=1,
        sha256="0" * 64,
        seconds=4.0,
        rate_hz=48000,
    )


def answered(job: Job, round_id: str, until: str = "done", most: int = 60) -> tuple[Job, list[str]]:
    """Answer steps until one of kind ``until`` is next; gives the job and what was asked."""
    asked: list[str] = []
    for _ in range(most):
        step = walked(job, round_id).due
        if until in (step.kind, step.walk):
            return job, asked
        asked.append(f"{step.id} {step.point}".strip())
        job = answer(job, step, round_id)
    raise AssertionError(f"never reached {until}: {asked}")


START = after(opened(), ev.WayChosen(way="walks"), ev.RoundOpened(round_id="c1-aa", cylinder=1))
FIVE = ["intake", "tailpipe", "oil-filler", "radiator", "plug-hole-2"]


def test_a_clean_round_in_order() -> None:
    """Caution, supply, loss, quiet walk, the ear before any number, air and closing walk, bubbles, verdict."""
    job, asked = answered(START, "c1-aa")
    assert asked == [
        SET_UP,
        "supply",
        "loss",
        *(f"quiet {p}" for p in FIVE),
        "call",
        *(f"{walk} {p}" for walk in ("air", "closing") for p in FIVE),
        "bubbles",
        "verdict",
    ]
    assert all(s.state == "done" for s in walked(job, "c1-aa").steps)


def test_progress_counts_and_cautions_stand_before_the_air() -> None:
    """Numbers run from 1 to n without a gap; the caution is due before any step that needs air."""
    steps = walked(START, "c1-aa").steps
    assert [s.number for s in steps] == list(range(1, len(steps) + 1))
    assert {s.of for s in steps} == {len(steps)}
    assert steps[0].kind == "caution"
    assert any("Bar and ratchet OFF" in c.words for c in steps[0].cautions)
    assert all(s.cautions for s in steps if s.clip_kind == "air")
    assert all(any("coolant cap" in c.words for c in s.cautions) for s in steps if s.point == "radiator")


def test_supply_is_learnt_once_the_loss_every_round() -> None:
    """The second round does not ask for the supply again."""
    job, _ = answered(START, "c1-aa")
    job = after(ev.RoundOpened(round_id="c2-bb", cylinder=2), start=job)
    _, asked = answered(job, "c2-bb")
    assert asked[:3] == [SET_UP, "loss", "quiet intake"]


def test_taking_a_clip_back_makes_its_step_due_again_and_the_verdict_stale() -> None:
    """From the verdict straight back to the clip, then to a new verdict; the file stays in the record."""
    job, _ = answered(START, "c1-aa")
    gone = job.round("c1-aa").live_clips("tailpipe", "air")[0]
    job = after(ev.ClipTakenBack(clip=gone.id), start=job)
    assert job.round("c1-aa").stale
    step = walked(job, "c1-aa").due
    assert (step.kind, step.point, step.walk) == ("clip", "tailpipe", "air")
    job, asked = answered(job, "c1-aa")
    assert asked == ["air tailpipe", "verdict"]
    assert gone.id in [c.id for c in job.round("c1-aa").clips]


def test_an_extra_take_asks_for_nothing_but_a_new_verdict() -> None:
    """More clips never confuse the walk."""
    job, _ = answered(START, "c1-aa")
    job = after(clip("extra", "c1-aa", "intake", "air", "air"), start=job)
    assert answered(job, "c1-aa")[1] == ["verdict"]


def test_a_call_after_numbers_is_told_as_such_though_the_one_before_it_was_taken_back() -> None:
    """What the first call let be seen stays seen; one taken back before any air had shown nothing."""
    first = ev.ByEarCalled(round_id="c1-aa", paths=("intake-valve",))
    back = ev.Withdrawn(event="e3", kind="by-ear-called", round_id="c1-aa")
    again = ev.ByEarCalled(round_id="c1-aa", paths=("rings",))
    start = (opened(), ev.WayChosen(way="walks"), ev.RoundOpened(round_id="c1-aa", cylinder=1), first)
    air = clip("a", "c1-aa", "intake", "air", "air")
    assert after(*start, back, air, again).round("c1-aa").call().before_numbers is False
    assert after(*start, back, again).round("c1-aa").call().before_numbers is True
    skipped = ev.StepPassed(round_id="c1-aa", step="call", reason="no time")
    assert after(*start[:3], skipped, air, again).round("c1-aa").call().before_numbers is False


def test_a_round_that_was_only_opened_is_none_yet() -> None:
    assert latest_round(START, 1) is None
    assert latest_round(after(ev.CautionAcknowledged(caution=SET_UP, round_id="c1-aa"), start=START), 1) is not None


def test_what_a_slip_spoiled_is_found_by_its_number() -> None:
    job, _ = answered(START, "c1-aa")
    record = job.round("c1-aa")
    verdict = replace(record.verdict.result.verdict, again=(Again("intake", "quiet", 2), Again("tailpipe", "quiet")))
    found = [(c.kept.point, c.kept.walk) for c in spoiled(verdict, record)]
    assert found == [("intake", "closing"), ("tailpipe", "quiet"), ("tailpipe", "closing")]
    later = after(ev.ClipTakenBack(clip=record.clips[0].id), start=job).round("c1-aa")
    assert spoiled(verdict, later) == (), "the numbers are of other clips now"


def test_a_reading_after_the_verdict_makes_it_stale() -> None:
    """The loss goes into the odds: a corrected loss asks for a new verdict."""
    job, _ = answered(START, "c1-aa")
    loss = ev.ReadingEntered(reading="loss", value=40, unit="percent", si=40.0, cylinder=1, round_id="c1-aa")
    job = after(loss, start=job)
    assert answered(job, "c1-aa")[1] == ["verdict"]


def test_a_point_left_out_of_the_quiet_walk_is_left_out_after_it() -> None:
    """Without a quiet clip the air clip says nothing; a point taken up again is due again."""
    skip = ev.PointSkipped(round_id="c1-aa", point="radiator", reason="engine hot", walk="quiet")
    _, asked = answered(after(skip, start=START), "c1-aa")
    assert not [a for a in asked if "radiator" in a]
    states = {s.id: s for s in walked(after(skip, start=START), "c1-aa").steps if s.point == "radiator"}
    assert {s.state for s in states.values()} == {"left-out"}
    assert {s.why for s in states.values()} == {"engine hot"}
    again = ev.PointSkipped(round_id="c1-aa", point="radiator", reason="cooled down", walk="quiet", skipped=False)
    assert answered(after(skip, again, start=START), "c1-aa")[1] == answered(START, "c1-aa")[1]


def test_a_point_left_out_of_the_closing_walk_is_still_heard_with_air() -> None:
    """Leaving out goes forward only."""
    skip = ev.PointSkipped(round_id="c1-aa", point="intake", reason="in a hurry", walk="closing")
    _, asked = answered(after(skip, start=START), "c1-aa")
    assert "air intake" in asked
    assert "closing intake" not in asked


def test_a_whole_step_can_be_passed_with_a_reason() -> None:
    """No gauge, no closing walk: the rest goes on."""
    passed = [ev.StepPassed(round_id="c1-aa", step=s, reason="no gauge") for s in ("supply", "loss", "closing")]
    _, asked = answered(after(*passed, start=START), "c1-aa")
    assert not [a for a in asked if a.split()[0] in ("supply", "loss", "closing")]


def test_dual_exhaust_air_cooled_and_inner_cylinders() -> None:
    """Points follow the engine: both tailpipes, no radiator and no bubbles, two neighbours inside."""
    import msgspec

    exhausts = (Exhaust("tailpipe-left"), Exhaust("tailpipe-right"))
    engine = msgspec.structs.replace(layout("inline-4", exhausts=exhausts), cooling="air")
    job = after(ev.JobOpened(job="1", title="t", engine=engine), ev.RoundOpened(round_id="c2-bb", cylinder=2))
    points = [p.id for p in round_points(job, job.round("c2-bb"))]
    assert points == ["intake", "tailpipe-left", "tailpipe-right", "oil-filler", "plug-hole-1", "plug-hole-3"]
    assert "bubbles" not in [s.kind for s in walked(job, "c2-bb").steps]


def test_a_round_sent_back_asks_for_that_clip_first_and_once() -> None:
    """The supervisor's request is the next step until it is recorded, then a new verdict."""
    job, _ = answered(START, "c1-aa")
    back = ev.SentBack(round_id="c1-aa", name="Bo", point="breather", clip_kind="air", reason="doubt the filler")
    job = after(back, start=job)
    step = walked(job, "c1-aa").due
    assert (step.point, step.clip_kind, step.walk) == ("breather", "air", "air")
    assert "Bo asks" in step.sentence
    job = answer(job, step, "c1-aa")
    _, asked = answered(job, "c1-aa")
    assert asked == ["quiet breather", "closing breather", "verdict"]


def test_a_clip_asked_for_may_be_left_out_and_no_figure_goes_with_it() -> None:
    """The request is answered with the reason; the point and its clips stay; a second request asks again."""
    job, _ = answered(START, "c1-aa")
    back = ev.SentBack(round_id="c1-aa", name="Bo", point="breather", clip_kind="air", reason="doubt the filler")
    job = after(back, start=job)
    step, clips = walked(job, "c1-aa").due, job.round("c1-aa").live_clips()
    out = left_out(step, "c1-aa", "cannot be reached")
    assert isinstance(out, ev.StepPassed)
    job = after(out, start=job)
    record = job.round("c1-aa")
    assert walked(job, "c1-aa").due.kind == "done"
    assert record.live_clips() == clips and not record.skips and not record.stale
    assert standing(record).request_met and standing(record).waits
    assert [w.why for w in waiting(job)] == ["again"]
    job = after(back, start=job)
    assert walked(job, "c1-aa").due.point == "breather" and [w.why for w in waiting(job)] == ["sent-back"]


def test_signing_closes_and_later_events_say_so() -> None:
    """A signed round has no next step; a change after it is told, a finding at teardown is not a change."""
    job, _ = answered(START, "c1-aa")
    sign = ev.Signed(round_id="c1-aa", name="Bo", role="supervisor", statement="I agree", head="0" * 64)
    job = after(sign, ev.FindingRecorded(cylinder=1, paths=("intake-valve",)), start=job)
    assert walked(job, "c1-aa").due.kind == "done"
    assert job.round("c1-aa").changed_after_signing == ()
    loss = ev.ReadingEntered(reading="loss", value=5, unit="percent", si=5.0, cylinder=1)
    job = after(loss, ev.ClipTakenBack(clip=job.round("c1-aa").clips[0].id), start=job)
    said = job.round("c1-aa").changed_after_signing
    assert len(said) == 2
    assert "loss entered as 5 %, by Ann" in said[0]


@given(st.lists(PAYLOADS, max_size=25))
@settings(max_examples=150, deadline=None)
def test_any_history_has_a_next_step_and_can_be_finished(payloads: list[ev.Payload]) -> None:
    """Stop and resume anywhere: from every reachable state the walk ends."""
    job = after(opened(), *payloads)
    for record in job.rounds:
        assert walked(job, record.id).due
        finished, _ = answered(job, record.id)
        assert walked(finished, record.id).due.kind == "done"


def test_to_round_gives_clips_in_time_and_the_best_sound_reference(tmp_path: Path) -> None:
    """Taken-back clips stay out, order is the order of taking, a cylinder judged sound lends its air clips."""
    job, _ = answered(START, "c1-aa")
    job = after(ev.RoundOpened(round_id="c4-dd", cylinder=4), start=job)
    job, _ = answered(job, "c4-dd", until="verdict")
    sound = ev.Judged(round_id="c4-dd", result=result("sound", "none"), clips=clips_used(job, "c4-dd"))
    job = after(sound, start=job)
    found = to_round(job, "c1-aa", tmp_path)
    own = [t for t in found.takes if t.kind is not Kind.SOUND]
    assert [t.order for t in own] == list(range(1, 16))
    kinds = {t.point: t.kind for t in found.takes if t.kind is Kind.SOUND}
    assert set(kinds) == {"intake", "tailpipe", "oil-filler", "radiator"}, (
        "the plug holes differ from cylinder to cylinder"
    )
    assert all(c.kept.round_id == "c4-dd" for c in references(job, "c1-aa").values())
    assert set(clips_used(job, "c1-aa")) == {t.path.stem for t in found.takes}
    assert all(t.path.parent == tmp_path / "clips" for t in found.takes)


def test_a_leaking_cylinder_is_never_the_reference() -> None:
    """Judged to leak: not offered, however low its loss; overruled to sound: offered."""
    job, _ = answered(START, "c1-aa")
    job = after(ev.RoundOpened(round_id="c4-dd", cylinder=4), start=job)
    job, _ = answered(job, "c4-dd")
    assert references(job, "c1-aa") == {}
    sound = ev.Overruled(round_id="c4-dd", name="Bo", paths=("none",), reason="heard it myself")
    assert references(after(sound, start=job), "c1-aa")


def test_a_round_may_decline_the_sound_cylinder(tmp_path: Path) -> None:
    """No clip of another cylinder is handed to the judge then, the result is due anew, and it can be taken back."""
    job, _ = answered(START, "c1-aa")
    job = after(ev.RoundOpened(round_id="c4-dd", cylinder=4), start=job)
    job, _ = answered(job, "c4-dd")
    sound = ev.Overruled(round_id="c4-dd", name="Bo", paths=("none",), reason="heard it myself")
    job = after(sound, start=job)
    assert reference_cylinders(job, "c1-aa") == (4,) and not job.round("c1-aa").stale
    without = after(ev.StepPassed(round_id="c1-aa", step=DECLINED, reason="not sound"), start=job)
    assert why_no_reference(without.round("c1-aa")) == "not sound" and without.round("c1-aa").stale
    assert reference_cylinders(without, "c1-aa") == () and walked(without, "c1-aa").due.kind == "verdict"
    assert all(t.kind is not Kind.SOUND for t in to_round(without, "c1-aa", tmp_path).takes)
    again = after(ev.StepPassed(round_id="c1-aa", step=DECLINED, reason=""), start=without)
    assert reference_cylinders(again, "c1-aa") == (4,) and not why_no_reference(again.round("c1-aa"))


def test_a_calibration_counts_only_for_its_own_input() -> None:
    """Levels become dB SPL where the clips came through the input that was calibrated; a later plain check keeps it."""

    def checked(device: str, level: float | None) -> ev.MicrophoneChecked:
        return ev.MicrophoneChecked(device=device, rate_hz=48_000, verdict="good", full_scale_db_spl=level)

    job, _ = answered(START, "c1-aa", until="verdict")
    (device,) = {c.kept.device for c in job.round("c1-aa").live_clips()}
    assert facts(job, job.round("c1-aa")).calibration_db is None
    other = after(checked("another input", 120.0), start=job)
    assert facts(other, other.round("c1-aa")).calibration_db is None
    own = after(checked(device, 120.0), checked(device, None), start=job)
    assert facts(own, own.round("c1-aa")).calibration_db == pytest.approx(123.01, abs=0.01)


def test_facts_take_the_nearest_reading() -> None:
    """The round's own before the cylinder's before the job's; zero compression becomes the least a gauge shows."""

    def read(what: str, si: float, cylinder: int | None = None, round_id: str | None = None) -> ev.ReadingEntered:
        return ev.ReadingEntered(reading=what, value=si, unit="kPa", si=si, cylinder=cylinder, round_id=round_id)

    job = after(
        read("supply", 550),
        read("restrictor", 1.0),
        read("loss", 27, 1, "c1-aa"),
        read("loss", 50, 1),
        read("compression-dry", 0, 1),
        *(read("loss", v, n) for n, v in ((2, 6), (3, 9), (4, 8))),
        ev.BubblesLooked(round_id="c1-aa", seen="not-looked"),
        start=START,
    )
    f = facts(job, job.round("c1-aa"))
    assert (f.supply_kpa, f.restrictor_mm, f.loss_percent, f.compression_dry_kpa) == (550, 1.0, 27, 1.0)
    assert f.loss_others_percent == 8, "the middle one; no cylinder is held against itself"
    assert f.bubbles_seen is None
    assert f.firing_order == (1, 3, 4, 2)
    bad = after(read("loss", 140, 1, "c1-aa"), start=START)
    with pytest.raises(RoundError, match="140"):
        facts(bad, bad.round("c1-aa"))


def test_a_round_without_clips_or_without_existence_is_refused(tmp_path: Path) -> None:
    """One sentence each."""
    with pytest.raises(RoundError, match="no clips yet"):
        to_round(START, "c1-aa", tmp_path)
    with pytest.raises(RoundError, match="no such round"):
        to_round(START, "c9-zz", tmp_path)


def test_the_way_orders_the_clips_and_is_asked_before_the_first_only() -> None:
    """Point by point the call comes after all clips; switched, a take stands for three; old jobs are never asked."""
    fresh = after(opened(), ev.RoundOpened(round_id="c1-aa", cylinder=1))
    assert next(s for s in walked(fresh, "c1-aa").steps if s.kind == "way").state == "due"
    begun = after(clip("k", "c1-aa", "intake", "quiet", "quiet"), start=fresh)
    assert next(s for s in walked(begun, "c1-aa").steps if s.kind == "way").state == "done"
    each = walked(after(ev.WayChosen(way="each-point"), start=fresh), "c1-aa").steps
    by_point = [(s.kind, s.point, s.walk) for s in each]
    assert [walk for _, _, walk in by_point[4:8]] == ["quiet", "air", "closing", "quiet"]
    assert [point for _, point, _ in by_point[4:8]] == ["intake", "intake", "intake", "tailpipe"]
    assert by_point.index(("call", "", "")) > max(i for i, s in enumerate(by_point) if s[0] == "clip")
    for way in ("switched", "all-at-once"):
        clips = [s for s in walked(after(ev.WayChosen(way=way), start=begun), "c1-aa").steps if s.kind == "clip"]
        assert {s.walk for s in clips} == {"switched"} and len({s.point for s in clips}) == len(clips)
    assert after(ev.WayChosen(way="by-pigeon"), start=fresh).way == ""


def test_the_judge_is_told_what_the_engine_has() -> None:
    """Nobody with a single air-cooled engine is sent to a sound cylinder, nor to a radiator."""
    engine = replace(layout("single"), cooling="air", crankcase_point="breather")
    job = after(ev.JobOpened(job="0" * 32, title="t", engine=engine), ev.RoundOpened(round_id="r1", cylinder=1))
    told = facts(job, job.round("r1"))
    assert (told.cylinders, told.points) == (1, ("intake", "tailpipe", "breather"))
