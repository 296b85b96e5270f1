"""Top dead centre found again, as a verdict asks: the journal keeps what came of it, and all who read the job know."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.bring_in import bring_in, recordings_in
from listen.jobs.engine_case import heard_before
from listen.jobs.event_words import event_words
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_path
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.ledger import ledger, take_back
from listen.jobs.to_round import facts, judged, to_round
from listen.jobs.top_again import found_again, is_asked, to_be_taken_again
from listen.jobs.walk import SET_UP, advised, walked
from listen.judge.result import RoundResult
from listen.report.round_part import round_part
from listen.rounds.evaluate import evaluate
from listen.trade.engine import layout
from listen.trade.points import PathId
from tests.jobs.short import begin_round
from tests.rounds.made import simulated


def loss(percent: float, round_id: str) -> ev.ReadingEntered:
    return ev.ReadingEntered(reading="loss", value=percent, unit="percent", si=percent, cylinder=1, round_id=round_id)


@pytest.fixture(scope="module")
def asking(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose one round lost nearly all of its air past the exhaust valve; only to be copied."""
    root = tmp_path_factory.mktemp("asking")
    with create_job(root / "jobs", title="t", engine=replace(layout("single"), cooling="liquid")) as opened:
        round_id = begin_round(opened, 1)
        opened.append(
            ev.ReadingEntered(reading="restrictor", value=1.0, unit="mm", si=1.0),
            ev.ReadingEntered(reading="supply", value=550, unit="kPa", si=550),
            loss(97.0, round_id),
            ev.CautionAcknowledged(caution=SET_UP, round_id=round_id),
            ev.PointSkipped(round_id=round_id, point="radiator", reason="cap hot"),
            ev.StepPassed(round_id=round_id, step="call", reason="no time"),
            ev.BubblesLooked(round_id=round_id, seen="no"),
        )
        bring_in(opened, round_id, recordings_in(simulated(root / "r", path=PathId.EXHAUST_VALVE)).recordings)
        judge(opened)
        return opened.folder


@pytest.fixture
def folder(asking: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(asking, tmp_path / "job"))


def judge(opened: OpenJob) -> RoundResult:
    id = opened.job.rounds[0].id
    opened.append(judged(opened.job, id, evaluate(to_round(opened.job, id, opened.folder))))
    return opened.job.rounds[0].judged[-1].result


def answer(opened: OpenJob, percent: float) -> tuple[ev.Payload, ...]:
    record = opened.job.rounds[0]
    events = found_again(opened.job, record, loss(percent, record.id))
    opened.append(*events)
    return events


@pytest.mark.parametrize("read", [92.0, 97.0, 100.0])
def test_a_loss_that_stays_within_a_repeats_five_points_names_the_valve(folder: Path, read: float) -> None:
    """Kept, judged with, told on page and report, verified; and never asked for again."""
    with open_job(folder) as opened:
        record = opened.job.rounds[0]
        assert record.verdict is not None and record.verdict.result.verdict.kind == "unclear"
        assert is_asked(opened.job, record) and advised(record.verdict.result.verdict, record) == ()
        events = answer(opened, read)
        assert events == (ev.TopFoundAgain(round_id=record.id, loss_percent=read),)
        record = opened.job.rounds[0]
        assert record.stale and facts(opened.job, record).top_found_again is True
        assert facts(opened.job, record).loss_percent == 97.0, "the first reading stands"
        assert walked(opened.job, record.id).due.kind == "verdict"
        named = judge(opened).verdict
        assert (named.kind, named.paths) == ("path", ("exhaust-valve",)) and not named.next_kind
        assert not is_asked(opened.job, opened.job.rounds[0])
        assert event_words(events[0], opened.job) == f"top dead centre found again: {read:g} % lost, as before"
        settings = dict(round_part(opened.job, opened.job.rounds[0])["settings"])
        assert settings["Top dead centre found again"] == f"loss {read:g} %, as before"
    assert verify_path(folder, Against(judge=evaluate)).ok


@pytest.mark.parametrize("read", [12.0, 91.5])
def test_another_loss_is_a_new_reading_and_all_is_walked_again_at_this_stand(folder: Path, read: float) -> None:
    """Nothing is lost: the clips lie where they lay, and can come back."""
    with open_job(folder) as opened:
        id, kept = opened.job.rounds[0].id, opened.job.rounds[0].live_clips()
        answer(opened, read)
        record = opened.job.rounds[0]
        assert not record.live_clips() and {c.id for c in record.clips} == {c.id for c in kept}
        assert all(opened.clip_path(c.id).exists() for c in kept)
        told = facts(opened.job, record)
        assert (told.loss_percent, told.top_found_again, told.bubbles_seen) == (read, None, None)
        due = [(s.kind, s.state) for s in walked(opened.job, id).steps]
        assert ("bubbles", "due") in due and ("loss", "done") in due and walked(opened.job, id).due.walk == "quiet"
        assert to_be_taken_again(record) and not is_asked(opened.job, record)
        assert heard_before(opened.job, record) == "clips changed since it was judged"
        back = next(x for p in ledger(opened.chain.events(), opened.job, 1) for x in p.lines if x.undone_by)
        assert back.may_come_back
    assert verify_path(folder, Against(judge=evaluate)).ok


def test_the_fact_goes_with_the_loss_that_it_was_about(folder: Path) -> None:
    """Another loss since, or the answer taken back on the page: judged without it the verdict asks again."""
    with open_job(folder) as opened:
        id = opened.job.rounds[0].id
        answer(opened, 96.0)
        judge(opened)
        opened.append(loss(40.0, id))
        assert facts(opened.job, opened.job.rounds[0]).top_found_again is None
        opened.append(loss(97.0, id))
        assert facts(opened.job, opened.job.rounds[0]).top_found_again is True
        lines = [x for p in ledger(opened.chain.events(), opened.job, 1) for x in p.lines]
        opened.append(take_back(next(x for x in lines if x.kind == "top-found-again"), "other cylinder"))
        assert opened.job.rounds[0].stale and facts(opened.job, opened.job.rounds[0]).top_found_again is None
        assert judge(opened).verdict.next_kind == "top-found-again" and is_asked(opened.job, opened.job.rounds[0])


def test_a_set_up_that_was_named_asks_for_it_too_and_a_signed_round_does_not(folder: Path) -> None:
    """By its kind: verdicts of older versions say it no other way. Without a loss there is none that could stay."""
    with open_job(folder) as opened:
        record = opened.job.rounds[0]
        old = replace(record.judged[-1].result.verdict, kind="set-up", next_kind="")
        result = replace(record.judged[-1].result, verdict=old)
        opened.append(replace(record.judged[-1], result=result))
        assert is_asked(opened.job, opened.job.rounds[0])
        read = next(e for e in opened.chain.events() if isinstance(e.payload, ev.ReadingEntered) and e.payload.cylinder)
        unread = ev.Withdrawn(event=read.id, kind="reading-entered", round_id=record.id)
        signed = ev.Signed(round_id=record.id, name="Bo", role="supervisor", statement="", head=opened.chain.head)
        opened.append(unread)
        assert not is_asked(opened.job, opened.job.rounds[0])
        opened.append(loss(97.0, record.id), signed)
        assert not is_asked(opened.job, opened.job.rounds[0])
