"""Protects what a job hands to the diagnosis: only what still stands, and people's decisions before numbers."""

from __future__ import annotations

import pytest

from listen.jobs.engine_case import engine_case
from listen.jobs.events import (
    ByEarCalled,
    EngineSize,
    Judged,
    Overruled,
    PlugSeen,
    ReadingEntered,
    SymptomNoted,
)
from listen.jobs.folder.store import create_job
from listen.judge.result import PathResult, RoundResult, Verdict
from listen.trade.layout import layout


def read(name, si, n=None, round_id=None) -> ReadingEntered:
    return ReadingEntered(reading=name, value=si, unit="kPa", si=si, cylinder=n, round_id=round_id)


def judged(round_id, path, probability, involved) -> Judged:
    verdict = Verdict(kind="path", paths=(path,), probability=probability, text="", next="")
    paths = (PathResult(path=path, probability=probability, evidence_db={}, involved=involved),)
    return Judged(round_id=round_id, result=RoundResult(round="", points=(), paths=paths, verdict=verdict), clips=())


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
    assert of(job, 4).dry_kpa == 990
    assert case.dry_order == (4, 2)
    assert (case.expected_kpa, case.altitude_m) == (1375, 600)
    assert of(job, 2).plugs == ("oil-wet",)
    assert of(job, 2).found == ("lash-nil",)
    assert case.symptoms == ("coolant-loss",)


def test_a_path_counts_as_involved_and_the_makers_figure_before_the_computed_one(job):
    round_id = job.open_round(3)
    job.append(judged(round_id, "rings", 0.7, 0.92), read("compression-expected", 1250))
    assert of(job, 3).paths == {"rings": 0.92}
    assert engine_case(job.job).expected_kpa == 1250


def test_what_was_heard_before_the_loss_changed_no_longer_counts(job):
    round_id = job.open_round(3)
    job.append(
        read("loss", 96, 3, round_id),
        ByEarCalled(round_id=round_id, paths=("exhaust-valve",)),
        judged(round_id, "set-up", 0.99, 0.99),
    )
    assert of(job, 3).paths == {"set-up": 0.99}
    assert of(job, 3).by_ear == ("exhaust-valve",)
    job.append(read("loss", 10, 3))
    assert of(job, 3).paths == {}
    assert of(job, 3).by_ear == ()


def test_what_the_supervisor_decided_comes_before_the_numbers(job):
    round_id = job.open_round(3)
    job.append(
        judged(round_id, "rings", 0.95, 0.95),
        Overruled(round_id=round_id, name="s", paths=("intake-valve",), reason="heard it"),
    )
    assert of(job, 3).paths == {"intake-valve": 0.95}
