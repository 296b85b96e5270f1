"""Protects what a job hands to the diagnosis: only what still stands, and people's decisions before numbers."""

from __future__ import annotations

import pytest

from listen.diagnosis.case import Made
from listen.diagnosis.compression import dry_test
from listen.diagnosis.diagnose import diagnose
from listen.diagnosis.ear import heard_share
from listen.diagnosis.leakage import behind_one_restrictor
from listen.jobs.engine_case import engine_case, heard_before, loss_then, under_way
from listen.jobs.events import (
    AnswerWithdrawn,
    ByEarCalled,
    CautionAcknowledged,
    CheckMade,
    EngineSize,
    Judged,
    Overruled,
    PlugSeen,
    ReadingEntered,
    SymptomNoted,
    SymptomsAsked,
)
from listen.jobs.folder.store import create_job
from listen.jobs.standing import latest_round
from listen.judge.result import BubbleRates, PathResult, PointResult, RoundResult, Verdict
from listen.trade.engine import layout
from tests.jobs.short import begin_round
from tui.screens.engine.cells import texts, verdict_forms


def read(name, si, n=None, round_id=None) -> ReadingEntered:
    return ReadingEntered(reading=name, value=si, unit="kPa", si=si, cylinder=n, round_id=round_id)


def judged(round_id, path, probability, involved, points=(), **evidence_db) -> Judged:
    verdict = Verdict(kind="path", paths=(path,), probability=probability, text="", next="")
    paths = (PathResult(path=path, probability=probability, evidence_db=evidence_db, involved=involved),)
    heard = tuple(heard_at(p) for p in points)
    return Judged(round_id=round_id, result=RoundResult(round="", points=heard, paths=paths, verdict=verdict), clips=())


def heard_at(point: str) -> PointResult:
    return PointResult(
        point=point,
        excess_db=9.0,
        excess_ci95_db=(8.0, 10.0),
        level_db=-40.0,
        level_is_upper_bound=False,
        level_unit="dBFS",
        detected=True,
        detection_limit_db=2.0,
        drift_db=0.3,
        bubbles_per_s=BubbleRates(0.0, 0.0),
    )


@pytest.fixture
def job(tmp_path):
    size = EngineSize(compression_ratio=10.0)
    with create_job(tmp_path, title="x", engine=layout("inline-4"), size=size) as opened:
        yield opened


def of(job, n):
    return next(c for c in engine_case(job.job).cylinders if c.cylinder == n)


def test_readings_plugs_and_symptoms_arrive_and_unknown_words_do_not(job):
    job.append(
        *(read("compression-dry", kpa, n) for n, kpa in ((4, 1000), (2, 1010))),
        read("compression-dry", 990, 4),
        read("altitude", 600),
        PlugSeen(cylinder=2, conditions=("oil-wet", "of-a-later-version")),
        SymptomNoted(symptom="coolant-loss"),
        SymptomNoted(symptom="of-a-later-version"),
        SymptomNoted(symptom="lash-nil", cylinder=2),
    )
    case = engine_case(job.job)
    assert [c.cylinder for c in case.cylinders] == [2, 4]
    assert of(job, 4).figures["compression-dry"] == 990
    assert case.dry_order == (4, 2)
    assert case.figures == {"altitude": 600, "compression-ratio": 10.0}
    assert dry_test(case).expected_kpa == pytest.approx(1375 * 0.93)
    assert of(job, 2).plugs == ("oil-wet",)
    assert of(job, 2).found == ("lash-nil",)
    assert case.symptoms == ("coolant-loss",)


def test_what_the_microphone_heard_counts_without_the_readings_and_the_makers_figure_before_the_computed_one(job):
    round_id = begin_round(job, 3)
    job.append(judged(round_id, "rings", 0.7, 0.95, ["oil-filler"], prior=-7.0, **{"oil-filler": 12.0, "loss": 9.0}))
    job.append(read("compression-expected", 1250))
    assert of(job, 3).paths == {"rings": pytest.approx(0.76, abs=0.01)}, "-7 and 12 dB; the 9 dB of the loss count once"
    assert dry_test(engine_case(job.job)).expected_kpa == 1250


def test_one_cylinder_is_held_against_the_figure_expected_by_ratio_or_maker(job):
    """With the others unread there is nothing else to hold it against."""
    job.append(read("compression-dry", 1300, 3))
    assert diagnose(engine_case(job.job)).cylinders[2].word == "sound"
    job.append(read("compression-expected", 2400))
    assert diagnose(engine_case(job.job)).cylinders[2].word == "fault"


def test_a_filler_that_stayed_quiet_is_not_heard_however_high_the_loss(job):
    round_id = begin_round(job, 3)
    job.append(judged(round_id, "rings", 0.95, 0.95, prior=-7.0, **{"oil-filler": 3.0, "loss": 16.0}))
    assert of(job, 3).paths["rings"] < 0.5


def test_a_later_reading_deletes_nothing_that_was_heard(job):
    """Another kind of reading leaves it whole; a loss read otherwise tells so, and set-up no longer counts."""
    round_id = begin_round(job, 3)
    job.append(
        read("loss", 96, 3, round_id),
        ByEarCalled(round_id=round_id, paths=("exhaust-valve",)),
        judged(round_id, "set-up", 0.99, 0.99),
    )
    assert of(job, 3).paths == {"set-up": 0.99}
    job.append(read("compression-wet", 900, 3))
    assert of(job, 3).paths == {"set-up": 0.99} and of(job, 3).heard_before == ""
    job.append(read("loss", 10, 3))
    assert of(job, 3).paths == {"set-up": 0.99}
    assert of(job, 3).by_ear == ("exhaust-valve",)
    assert of(job, 3).heard_before == "heard at a loss of 96 %, since read as 10 %"
    assert heard_share(of(job, 3), "set-up") == 0.0


def test_the_table_says_of_which_round_its_loss_is(job):
    """A second try under way has read another loss than the one that the verdict rests on."""
    first = begin_round(job, 3)
    job.append(read("loss", 96, 3, first), judged(first, "set-up", 0.99, 0.99))
    now = job.job
    (record,) = now.rounds
    assert (loss_then(now, record), heard_before(now, record), under_way(now, 3)) == (None, "", None)
    second = begin_round(job, 3)
    job.append(CautionAcknowledged(caution="set-up", round_id=second), read("loss", 10, 3, second))
    now, record = job.job, latest_round(job.job, 3)
    assert (loss_then(now, record), record.id, under_way(now, 3).id) == (96, first, second)
    assert heard_before(now, record) == "heard at a loss of 96 %, since read as 10 %"
    assert all("96 %" in form for form in verdict_forms(3, now)), "however little room there is"
    assert texts(3, now)["loss"] == "10"


def test_what_a_person_decided_is_kept_as_a_persons_word(job):
    round_id = begin_round(job, 3)
    job.append(
        judged(round_id, "rings", 0.95, 0.95, ["oil-filler"]),
        Overruled(round_id=round_id, name="s", paths=("intake-valve",), reason="heard it"),
    )
    c = of(job, 3)
    assert (c.decided, c.decided_by, c.paths) == (("intake-valve",), "s", {"rings": 0.95})
    assert heard_share(c, "intake-valve") == 0.8 and heard_share(c, "rings") == 0.0


def test_facts_figures_and_checks_arrive_and_what_was_asked_is_told_from_what_was_not(job):
    job.append(
        SymptomNoted(symptom="turbo"),
        SymptomsAsked(symptoms=("frozen", "turbo")),
        read("loss", 67, 1),
        read("restrictor", 0.5),
        read("loss-after-run", 40, 1),
        read("oil-used", 0.8),
        CheckMade(check="camera-cylinder", outcome="scored", cylinder=2),
        CheckMade(check="camera-cylinder", outcome="clean", cylinder=2),
        CheckMade(check="timing-marks", outcome="right"),
        CheckMade(check="timing-marks", outcome=""),
    )
    case = engine_case(job.job)
    assert (case.symptoms, case.no, case.symptoms_asked) == (("turbo",), ("frozen",), False)
    assert case.figures["oil-used"] == 0.8
    assert of(job, 1).figures == {"loss": 67, "restrictor": 0.5, "loss-after-run": 40}
    assert case.made == (Made("camera-cylinder", "clean", 2),)
    assert behind_one_restrictor(case).read("loss")[1] == pytest.approx(8.5, abs=0.3)


def test_a_figure_that_was_withdrawn_does_not_count(job):
    job.append(read("oil-used", 0.8), AnswerWithdrawn(fact="oil-used"))
    assert "oil-used" not in engine_case(job.job).figures
